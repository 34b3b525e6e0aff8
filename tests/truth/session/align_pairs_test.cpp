// The main job from files to correction on rendered 24-megapixel pairs whose axis is known (the simulator shares no
// code with the stages under test). Truth is the simulator's; the scenes are invented.
#include <catch2/catch.hpp>
#include <filesystem>
#include <iostream>

#include "polewright/catalogue.hpp"
#include "polewright/session.hpp"
#include "simulate/simulate.hpp"
#include "support/program.hpp"

using namespace polewright;

namespace {

struct Case {
  const char* name;
  double focal_mm, latitude_deg, altitude_error_arcmin, azimuth_error_arcmin;
  double look_azimuth_deg, look_altitude_deg;
  double rate_ratio;
  double allowed_arcmin;
};

simulate::Scene scene_of(const Case& c) {
  simulate::Scene scene;
  scene.site = {Angle::deg(c.latitude_deg), Angle::deg(c.latitude_deg > 0 ? 7.98 : 20.81), 1650.0};
  scene.first_start = UtcTime::from_calendar({2026, 8, 12, c.latitude_deg > 0 ? 21 : 18, 30, 0.0});
  scene.lens.focal_mm = c.focal_mm;
  scene.lens.width_px = 6000;
  scene.lens.height_px = 4000;
  scene.lens.k1 = -0.01;
  scene.pointing =
      simulate::Horizontal{Angle::deg(c.look_azimuth_deg), Angle::deg(c.look_altitude_deg), Angle::deg(17.0)};
  scene.mount.altitude_error = Angle::arcmin(c.altitude_error_arcmin);
  scene.mount.azimuth_error = Angle::arcmin(c.azimuth_error_arcmin);
  scene.mount.rate_ratio = c.rate_ratio;
  return scene;
}

std::vector<std::filesystem::path> render_pair(const simulate::Scene& scene, const std::string& folder) {
  static const Catalogue catalogue = Catalogue::open().value();
  const auto stars = simulate::stars_from_catalogue(catalogue, scene, 12.0);
  simulate::RenderOptions options;
  options.threads = 2;
  std::vector<std::filesystem::path> paths;
  for (int i = 0; i < 2; ++i) {
    const auto rendered = simulate::render_frame(scene, stars, i, options);
    paths.push_back(std::filesystem::path(folder) / ("frame" + std::to_string(i) + ".fits"));
    REQUIRE_FALSE(simulate::write_fits(paths.back(), rendered.frame));
  }
  return paths;
}

double error_arcmin(const AlignReport& report, const simulate::Scene& scene) {
  return angle_between(report.mount->axis, simulate::scene_truth(scene).axis).arcmin();
}

}  // namespace

TEST_CASE("pairs three minutes apart at 24, 50 and 135 mm in both hemispheres give the axis, its signs and the rate") {
  const Case cases[] = {{"24 mm north", 24, 46.55, -18, 25, 120, 50, 1.0, 1.2},
                        {"24 mm south", 24, -30.2, 40, -33, 20, 55, 1.0, 1.2},
                        {"50 mm north", 50, 46.55, 60, -8, 90, 40, 1.0, 0.5},
                        {"50 mm south", 50, -30.2, -5, 55, 240, 60, 1.0, 0.5},
                        {"135 mm north", 135, 46.55, 12, 30, 60, 45, 0.9985, 0.5},
                        {"135 mm south", 135, -30.2, -25, -12, 150, 50, 1.0, 0.5}};
  for (const Case& c : cases) {
    DYNAMIC_SECTION(c.name) {
      const auto scene = scene_of(c);
      const std::string folder = test::scratch_folder("pair");
      const auto report = align(render_pair(scene, folder), SessionOptions{});
      REQUIRE(report);
      INFO(report->message);
      REQUIRE(report->outcome == AlignOutcome::solved);
      const MountSolution& m = *report->mount;
      const double error = error_arcmin(*report, scene);
      std::cout << c.name << ": axis off by " << error << "′ (sigma " << m.total_sigma.arcmin() << "′), rate off by "
                << *m.rate_ratio - c.rate_ratio << " (sigma " << m.rate_sigma << "), "
                << report->frames[0].stars_identified << " stars, residual " << m.residual_rms_px << " px\n";
      CHECK(error < c.allowed_arcmin);
      CHECK((m.altitude_error.rad() > 0) == (c.altitude_error_arcmin > 0));
      CHECK((m.azimuth_error.rad() > 0) == (c.azimuth_error_arcmin > 0));
      CHECK((report->correction->altitude_turn == AltitudeTurn::lower) == (c.altitude_error_arcmin > 0));
      CHECK((report->correction->azimuth_turn == AzimuthTurn::west) == (c.azimuth_error_arcmin > 0));
      CHECK(*m.rate_ratio == Approx(c.rate_ratio).margin(3e-4));
      std::filesystem::remove_all(folder);
    }
  }
}

TEST_CASE("with no axis error the measured axis lands on the refracted pole within the stated uncertainty") {
  const auto scene = scene_of({"aligned", 50, 46.55, 0, 0, 75, 45, 1.0, 0.5});
  const std::string folder = test::scratch_folder("aligned");
  const auto report = align(render_pair(scene, folder), SessionOptions{});
  REQUIRE(report);
  INFO(report->message);
  REQUIRE(report->outcome == AlignOutcome::solved);
  const MountSolution& m = *report->mount;
  const auto truth = simulate::scene_truth(scene);
  CHECK(angle_between(truth.axis, truth.refracted_pole).arcsec() < 1.0);
  // Three sigma in each direction; the refracted and the true pole differ by 0.9′ here, so the sigma must also be small
  // enough to tell them apart for the check to mean something.
  CHECK(std::abs(m.altitude_error.arcmin()) < 3.0 * m.altitude_sigma.arcmin());
  CHECK(std::abs(m.azimuth_error_on_sky.arcmin()) < 3.0 * m.azimuth_on_sky_sigma.arcmin());
  CHECK(m.altitude_sigma.arcmin() < 0.3);
  std::cout << "aligned: altitude " << m.altitude_error.arcmin() << "′ ± " << m.altitude_sigma.arcmin()
            << "′, azimuth on the sky " << m.azimuth_error_on_sky.arcmin() << "′ ± " << m.azimuth_on_sky_sigma.arcmin()
            << "′\n";
  std::filesystem::remove_all(folder);
}
