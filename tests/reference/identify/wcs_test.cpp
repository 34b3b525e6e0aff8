// Places through the fitted lens against wcslib (Calabretta & Greisen 2002, FITS World Coordinate System paper II).
#include <wcslib/wcs.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>

#include "polewright/identify.hpp"
#include "truth/identify/synthetic_field.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

const Catalogue& catalogue() {
  static const Catalogue table = Catalogue::open().value();
  return table;
}

/// A WCS with the reference point on the optical axis. The camera's axes on the sky give the linear part: intermediate
/// coordinates are east and north in degrees; the standard counts pixels from (1, 1).
class Wcs {
 public:
  Wcs(const Identification& id, const char* projection) {
    wcs_.flag = -1;
    wcsini(1, 2, &wcs_);
    const auto sky_from_camera = id.camera_from_icrs.inverse();
    const Vec<Icrs> axis = sky_from_camera * Vec<Camera>{0, 0, 1};
    const Angle ra = right_ascension_of(axis), dec = declination_of(axis);
    const Vec<Icrs> east{-sin(ra), cos(ra), 0.0}, north{-sin(dec) * cos(ra), -sin(dec) * sin(ra), cos(dec)};
    const Vec<Icrs> right = sky_from_camera * Vec<Camera>{1, 0, 0}, down = sky_from_camera * Vec<Camera>{0, 1, 0};
    const double scale = id.lens.scale_per_px().deg(), side = id.lens.mirrored ? -1.0 : 1.0;
    wcs_.crpix[0] = id.lens.principal_point.x + 1.0;
    wcs_.crpix[1] = id.lens.principal_point.y + 1.0;
    const double pc[4] = {side * right.dot(east), down.dot(east), side * right.dot(north), down.dot(north)};
    std::memcpy(wcs_.pc, pc, sizeof pc);
    wcs_.cdelt[0] = wcs_.cdelt[1] = scale;
    wcs_.crval[0] = ra.deg();
    wcs_.crval[1] = dec.deg();
    std::snprintf(wcs_.ctype[0], 72, "RA---%s", projection);
    std::snprintf(wcs_.ctype[1], 72, "DEC--%s", projection);
    REQUIRE(wcsset(&wcs_) == 0);
  }
  ~Wcs() { wcsfree(&wcs_); }

  PixelPoint place(Vec<Icrs> d) {
    const double world[2] = {right_ascension_of(d).deg(), declination_of(d).deg()};
    double phi = 0, theta = 0, intermediate[2], pixel[2];
    int status = 0;
    REQUIRE(wcss2p(&wcs_, 1, 2, world, &phi, &theta, intermediate, pixel, &status) == 0);
    return {pixel[0] - 1.0, pixel[1] - 1.0};
  }

 private:
  wcsprm wcs_{};
};

}  // namespace

TEST_CASE("places of identified stars are those of the standard's projections") {
  struct Kind {
    Projection projection;
    const char* code;
  };
  // Gnomonic, zenithal equidistant, zenithal equal-area, stereographic.
  for (const Kind kind : {Kind{Projection::rectilinear, "TAN"}, Kind{Projection::equidistant, "ARC"},
                          Kind{Projection::equisolid, "ZEA"}, Kind{Projection::stereographic, "STG"}})
    for (const bool mirrored : {false, true}) {
      INFO(kind.code << (mirrored ? " mirrored" : ""));
      std::mt19937_64 random(mirrored ? 6 : 5);
      Scene scene = random_scene(random, 24.0, 24.0);
      scene.lens = centred_lens(kind.projection, 2800.0, scene.width_px, scene.height_px);
      scene.lens.mirrored = mirrored;
      scene.limiting_magnitude = 6.5;
      const SyntheticField field = synthetic_field(catalogue(), scene, Spoilers{}, random);
      const IdentifyResult result = identify(field.stars, catalogue());
      REQUIRE(result.identification);
      Identification id = *result.identification;
      REQUIRE_FALSE(judge(field, result).wrong);
      // The WCS projections know no distortion: compare the same lens without it.
      id.lens.k1 = id.lens.k2 = 0.0;
      Wcs wcs(id, kind.code);
      id.lens.projection = kind.projection;
      for (const StarMatch& m : id.matches) {
        const auto own = id.lens.project(id.camera_from_icrs * m.direction);
        REQUIRE(own);
        const PixelPoint standard = wcs.place(m.direction);
        CHECK(std::hypot(own->x - standard.x, own->y - standard.y) < 0.01);
      }
    }
}

TEST_CASE("residuals say what the fitted lens leaves, against the standard's tangent projection") {
  // A distortion-free lens without air: the whole identification is a TAN WCS, and measured − WCS must be the residual
  // to the 0.01 px asked for.
  std::mt19937_64 random(9);
  Scene scene = random_scene(random, 135.0, 135.0);
  scene.lens = centred_lens(Projection::rectilinear, 20000.0, scene.width_px, scene.height_px);
  scene.limiting_magnitude = 10.0;
  const SyntheticField field = synthetic_field(catalogue(), scene, Spoilers{}, random);
  const IdentifyResult result = identify(field.stars, catalogue());
  REQUIRE(result.identification);
  const Identification& id = *result.identification;
  REQUIRE(id.lens.k1 == 0.0);
  Wcs wcs(id, "TAN");
  for (const StarMatch& m : id.matches) {
    const PixelPoint standard = wcs.place(m.direction), seen = field.stars.stars[m.star].position;
    CHECK(seen.x - standard.x == Approx(m.residual_x_px).margin(0.01));
    CHECK(seen.y - standard.y == Approx(m.residual_y_px).margin(0.01));
  }
}
