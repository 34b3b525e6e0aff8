#include "polewright/identify.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "polewright/sky.hpp"
#include "truth/identify/synthetic_field.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

const Catalogue& catalogue() {
  static const Catalogue table = Catalogue::open().value();
  return table;
}

/// A clean 50 mm field over Tenerife.
SyntheticField clean_field(unsigned seed, Spoilers spoilers = {}) {
  std::mt19937_64 random(seed);
  Scene scene = random_scene(random, 50.0, 50.0);
  scene.limiting_magnitude = 9.0;
  return synthetic_field(catalogue(), scene, spoilers, random);
}

void check_right(const SyntheticField& field, const IdentifyResult& result) {
  const Verdict v = judge(field, result);
  CHECK(v.identified);
  CHECK_FALSE(v.wrong);
}

}  // namespace

TEST_CASE("too few stars is an outcome with advice") {
  StarList list;
  list.width = 1000;
  list.height = 800;
  for (int i = 0; i < 7; ++i) {
    Star s;
    s.position = {100.0 * i, 50.0 * i};
    s.flux = 1.0;
    list.stars.push_back(s);
  }
  const IdentifyResult result = identify(list, catalogue());
  CHECK(result.outcome == IdentifyOutcome::too_few_stars);
  CHECK_FALSE(result.identification);
  CHECK_FALSE(result.message.empty());
  CHECK(identify(StarList{}, catalogue()).outcome == IdentifyOutcome::too_few_stars);
}

TEST_CASE("hints may be right, wrong, or no numbers at all") {
  const SyntheticField field = clean_field(11);
  const Scene& scene = field.scene;
  const double f = scene.lens.focal_px;
  const auto centre = true_direction(scene, {3000, 2000});
  REQUIRE(centre);
  std::vector<IdentifyHints> all(12);
  all[1].focal_px = 1.15 * f;
  all[2].focal_px = 4.0 * f;
  all[3].focal_px = -1.0;
  all[4].focal_px = std::numeric_limits<double>::quiet_NaN();
  all[5].centre = *centre;
  all[5].focal_px = f;
  all[6].centre = -*centre;
  all[6].focal_px = f;
  all[7].attitude = Rotation<Camera, Icrs>{};
  all[7].lens = scene.lens;
  all[8].time = scene.time.plus_seconds(5 * 3600.0);  // clock five hours off
  all[8].site = scene.site;
  all[9].time = scene.time;
  all[9].site = Site{-scene.site.latitude, scene.site.longitude, 0.0};
  all[10].time = UtcTime::from_calendar({1, 1, 1, 0, 0, 0.0});
  all[10].site = scene.site;
  all[11].lens = LensModel{};
  for (std::size_t i = 0; i < all.size(); ++i) {
    INFO("hints " << i);
    check_right(field, identify(field.stars, catalogue(), all[i]));
  }
}

TEST_CASE("a neighbouring frame's attitude and lens lead straight to the answer") {
  const SyntheticField field = clean_field(12);
  const IdentifyResult first = identify(field.stars, catalogue());
  REQUIRE(first.identification);
  IdentifyHints hints;
  hints.lens = first.identification->lens;
  // Shifted by 2° and turned by 1°, as after a few minutes without tracking.
  hints.attitude =
      rotation_about(Vec<Camera>{0.6, 0.7, 0.38}.unit(), Angle::deg(2.2)) * first.identification->camera_from_icrs;
  const IdentifyResult second = identify(field.stars, catalogue(), hints);
  check_right(field, second);
  // The same stars but for a few at the limit of what counts as met.
  CHECK(static_cast<double>(second.identification->matches.size()) ==
        Approx(static_cast<double>(first.identification->matches.size())).epsilon(0.01));
}

TEST_CASE("with time and site, planets are named and refraction leaves the frame's centre alone") {
  for (unsigned seed = 100; seed < 400; ++seed) {
    std::mt19937_64 random(seed);
    Scene scene = random_scene(random, 20.0, 20.0);
    const SkyAt sky(scene.time, scene.site, Weather{});
    int planets = 0;
    for (const Body& body : bodies_at(scene.time, scene.site)) {
      const auto p = scene.lens.project(scene.camera_from_enu * sky.observed(body.direction));
      planets += body.kind != BodyKind::sun && body.kind != BodyKind::moon && p && p->x > 50 && p->y > 50 &&
                 p->x < 5900 && p->y < 3900;
    }
    if (planets < 2) continue;
    scene.limiting_magnitude = 7.0;
    const SyntheticField field = synthetic_field(catalogue(), scene, Spoilers{}, random);
    IdentifyHints hints;
    hints.time = scene.time;
    hints.site = scene.site;
    const IdentifyResult result = identify(field.stars, catalogue(), hints);
    check_right(field, result);
    const Identification& id = *result.identification;
    const auto named = std::count_if(id.matches.begin(), id.matches.end(),
                                     [](const StarMatch& m) { return m.catalogue == kNotInCatalogue; });
    CHECK(named == planets);
    REQUIRE(id.camera_from_enu);
    // The frame's centre, from the attitude over the ground and through ICRS: noise of 500 stars at 0.2 px is 0.01 px.
    const PixelPoint middle{2999.5, 1999.5};
    const Vec<Enu> seen = id.camera_from_enu->inverse() * *id.lens.unproject(middle);
    const Vec<Enu> truth = scene.camera_from_enu.inverse() * *scene.lens.unproject(middle);
    CHECK(angle_between(seen, truth).rad() * scene.lens.focal_px < 0.15);
    CHECK(judge(field, result).centre_error_px < 0.15);
    return;
  }
  FAIL("no scene with two planets");
}

TEST_CASE("trails, half of the stars missing, six detections in ten false: still identified") {
  Spoilers spoilers;
  spoilers.trail_px = 20.0;
  spoilers.missing = 0.5;
  spoilers.spurious = 0.6;
  for (unsigned seed = 21; seed < 25; ++seed) {
    const SyntheticField field = clean_field(seed, spoilers);
    check_right(field, identify(field.stars, catalogue()));
  }
}

TEST_CASE("the answer does not depend on the order of the list") {
  SyntheticField field = clean_field(31);
  const IdentifyResult first = identify(field.stars, catalogue());
  std::reverse(field.stars.stars.begin(), field.stars.stars.end());
  const IdentifyResult second = identify(field.stars, catalogue());
  REQUIRE(first.identification);
  REQUIRE(second.identification);
  CHECK(first.identification->lens.focal_px == Approx(second.identification->lens.focal_px).epsilon(1e-9));
  CHECK(first.identification->matches.size() == second.identification->matches.size());
}
