// Rendered level: pixels, files in memory, the whole way. Small frames and few nights, since each costs seconds.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "nights/night_maker.hpp"
#include "polewright/catalogue.hpp"
#include "session/night_explain.hpp"

using namespace polewright;

namespace {

/// 50 mm, 800×600, sixteen subs of 60 s.
simulate::Scene small_scene() {
  simulate::Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  scene.frames = 16;
  scene.exposure_s = 60.0;
  scene.interval_s = 65.0;
  scene.lens.width_px = 800;
  scene.lens.height_px = 600;
  scene.pointing = simulate::Horizontal{Angle::deg(140), Angle::deg(50), Angle::deg(20)};
  return scene;
}

simulate::RenderOptions small_detector() {
  simulate::RenderOptions options;
  options.detector.hot_pixels_per_megapixel = 10.0;
  return options;
}

/// `at` may change the detector from frame to frame (focus).
CheckReport rendered(
    const simulate::Scene& scene, simulate::RenderOptions options,
    const std::function<void(int, simulate::RenderOptions&)>& at = [](int, simulate::RenderOptions&) {}) {
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue.ok());
  const auto stars = simulate::stars_from_catalogue(*catalogue, scene, 10.0);
  std::vector<session::NightFile> files(static_cast<std::size_t>(scene.frames));
  for (int i = 0; i < scene.frames; ++i) {
    at(i, options);
    auto frame = simulate::render_frame(scene, stars, i, options).frame;
    auto record = session::record_of(frame, session::RecordOptions{});
    REQUIRE(record.ok());
    files[static_cast<std::size_t>(i)].record = std::move(*record);
    files[static_cast<std::size_t>(i)].input.file = "rendered_" + std::to_string(i + 1) + ".fits";
  }
  CheckReport report;
  REQUIRE_FALSE(session::explain_night(files, CheckOptions{}, {}, report));
  REQUIRE(report.sequences.size() == 1);
  return report;
}

std::string first_cause(const CheckReport& report) {
  const auto& causes = report.sequences[0].diagnosis.causes;
  return causes.empty() ? "none" : causes.front().cause;
}

}  // namespace

TEST_CASE("rendered: a clean night") {
  const CheckReport r = rendered(small_scene(), small_detector());
  CHECK(first_cause(r) == "none");
  CHECK(r.count(Verdict::sharp) == 16);
}

TEST_CASE("rendered: axis, worm, rate, stopped, reversed") {
  simulate::Scene scene = small_scene();
  SECTION("axis, through a colour mosaic") {
    scene.mount.altitude_error = Angle::arcmin(70);
    scene.mount.azimuth_error = Angle::arcmin(-110);
    simulate::RenderOptions options = small_detector();
    options.detector.mosaic.colour = {FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue};
    const CheckReport r = rendered(scene, options);
    CHECK(first_cause(r) == "axis misalignment");
    CHECK(r.count(Verdict::trailed) == 16);
  }
  SECTION("worm") {
    scene.mount.periodic = {{Angle::arcsec(50), 300.0, Angle()}};
    const CheckReport r = rendered(scene, small_detector());
    CHECK(first_cause(r) == "periodic error");
    REQUIRE_FALSE(r.sequences[0].diagnosis.periodic.empty());
    // Limits of the requirement.
    CHECK(r.sequences[0].diagnosis.periodic[0].period_s == Approx(300.0).epsilon(0.02));
    CHECK(*r.sequences[0].diagnosis.periodic[0].amplitude_arcsec == Approx(50.0).epsilon(0.08));
  }
  SECTION("rate") {
    scene.mount.rate_ratio = 0.95;
    CHECK(first_cause(rendered(scene, small_detector())) == "tracking rate");
  }
  SECTION("stopped, and the wrong way") {
    scene.exposure_s = 8.0;
    scene.interval_s = 12.0;
    scene.mount.rate_ratio = 0.0;
    CHECK(first_cause(rendered(scene, small_detector())) == "not tracking");
    scene.mount.rate_ratio = -1.0;
    CHECK(first_cause(rendered(scene, small_detector())) == "reversed tracking");
  }
}

TEST_CASE("rendered: gust, slip, settling") {
  simulate::Scene scene = small_scene();
  const simulate::Nudge nudge{Angle::arcsec(120), Angle::deg(20), Angle()};
  SECTION("gust") {
    scene.gusts = {{535.0, 0.5, 15.0, nudge}};
    const CheckReport r = rendered(scene, small_detector());
    CHECK(first_cause(r) == "gust or knock");
    CHECK(r.frames[8].finding.verdict == Verdict::trailed);
    CHECK(r.count(Verdict::sharp) == 15);
  }
  SECTION("slip within an exposure: every star stands twice") {
    scene.slips = {{610.0, nudge}};
    const CheckReport r = rendered(scene, small_detector());
    CHECK(first_cause(r) == "slip");
    CHECK(r.frames[9].finding.verdict == Verdict::trailed);
    CHECK(r.count(Verdict::sharp) == 15);
  }
  SECTION("settling") {
    scene.settlings = {{0.0, 200.0, {Angle::arcsec(200), Angle::deg(30), Angle()}}};
    CHECK(first_cause(rendered(scene, small_detector())) == "settling");
  }
}

TEST_CASE("rendered: focus, tilt, lens") {
  simulate::RenderOptions options = small_detector();
  SECTION("focus drifts") {
    const CheckReport r = rendered(small_scene(), options, [](int i, simulate::RenderOptions& o) {
      o.detector.psf.defocus_px = 0.22 * std::max(0, i - 4);
    });
    CHECK(first_cause(r) == "defocus");
    CHECK(r.frames[15].finding.verdict == Verdict::soft);
    CHECK(r.frames[0].finding.verdict == Verdict::sharp);
  }
  SECTION("tilt") {
    options.detector.psf.tilt_px = 3.5;
    CHECK(first_cause(rendered(small_scene(), options)) == "tilt");
  }
  SECTION("astigmatism") {
    options.detector.psf.astigmatism_px = 1.5;
    CHECK(first_cause(rendered(small_scene(), options)) == "lens aberration");
  }
}

TEST_CASE("rendered: clouds and dew") {
  simulate::RenderOptions options = small_detector();
  SECTION("clouds drift through and leave") {
    const CheckReport r = rendered(small_scene(), options, [](int i, simulate::RenderOptions& o) {
      o.extras.clouds.reset();
      if (i < 6 || i > 9) return;
      o.extras.clouds.emplace();
      o.extras.clouds->cover = 0.9;
      o.extras.clouds->extinction_mag = 3.0;
    });
    CHECK(first_cause(r) == "clouds");
    CHECK(r.frames[0].finding.verdict == Verdict::sharp);
    CHECK(r.frames[15].finding.verdict == Verdict::sharp);
  }
  SECTION("dew: wider stars and less light from frame to frame") {
    const double clear = options.detector.efficiency;
    const CheckReport r = rendered(small_scene(), options, [&](int i, simulate::RenderOptions& o) {
      const int late = std::max(0, i - 5);
      o.detector.psf.sigma_px = 1.0 + 0.12 * late;
      o.detector.efficiency = clear * std::pow(0.9, late);
    });
    CHECK(first_cause(r) == "dew");
    CHECK(r.frames[0].finding.verdict == Verdict::sharp);
    CHECK(r.frames[15].finding.verdict != Verdict::sharp);
  }
}
