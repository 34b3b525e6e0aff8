// A long exposure through a long lens: most stars burnt out, and more hot pixels than stars that are not. The frame's
// star size must still be that of the stars (a night of such frames was once measured at the size of its hot pixels).
#include <catch2/catch.hpp>

#include "polewright/catalogue.hpp"
#include "polewright/stars.hpp"
#include "simulate/simulate.hpp"

using namespace polewright;

TEST_CASE("hot pixels that outnumber the unsaturated stars do not set the star size") {
  simulate::Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 10, 10, 20, 0, 0.0});
  scene.site = {Angle::deg(46.6), Angle::deg(9.7), 1890.0};
  scene.exposure_s = 120.0;
  scene.lens.focal_mm = 135.0;
  scene.lens.pitch_um = 5.9;
  scene.lens.width_px = 1200;
  scene.lens.height_px = 800;
  simulate::RenderOptions options;
  options.detector.psf.sigma_px = 1.1;
  // The table ends where such an exposure stops saturating, so few of its stars are left unsaturated.
  const auto stars_of_table = simulate::stars_from_catalogue(Catalogue::open().value(), scene, 12.5);
  const auto rendered = simulate::render_frame(scene, stars_of_table, 0, options);
  const auto stars = find_stars(rendered.frame);
  REQUIRE(stars);
  int hot = 0, unsaturated = 0;
  for (const Star& s : stars->stars) {
    hot += s.flags.hot_pixel;
    unsaturated += s.flags.usable() && !s.flags.saturated;
  }
  REQUIRE(unsaturated >= 5);
  CHECK(hot > 2 * unsaturated);  // the trap is there
  // 2.355 × 1.1 px; the medians of a dozen stars scatter by a percent.
  CHECK(stars->fwhm_px == Approx(2.355 * 1.1).epsilon(0.03));
}
