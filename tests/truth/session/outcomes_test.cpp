// Every outcome but `solved`, reached with rendered frames through files, as a user would meet it.
#include <catch2/catch.hpp>
#include <filesystem>

#include "polewright/catalogue.hpp"
#include "polewright/session.hpp"
#include "simulate/simulate.hpp"
#include "support/program.hpp"

using namespace polewright;

namespace {

simulate::Scene small_scene() {
  simulate::Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 8, 12, 21, 30, 0.0});
  scene.lens.focal_mm = 35.0;
  scene.lens.pitch_um = 11.7;
  scene.mount.altitude_error = Angle::arcmin(20);
  return scene;
}

AlignReport align_rendered(const simulate::Scene& scene, const std::vector<simulate::SkyStar>& stars) {
  const std::string folder = test::scratch_folder("outcome");
  std::vector<std::filesystem::path> paths;
  for (int i = 0; i < scene.frames; ++i) {
    paths.push_back(std::filesystem::path(folder) / ("frame" + std::to_string(i) + ".fits"));
    REQUIRE_FALSE(simulate::write_fits(paths.back(), simulate::render_frame(scene, stars, i, {}).frame));
  }
  const auto report = align(paths, SessionOptions{});
  REQUIRE(report);
  CHECK_FALSE(report->message.empty());
  CHECK_FALSE(report->correction);
  INFO(report->message);
  return *report;
}

std::vector<simulate::SkyStar> table_stars(const simulate::Scene& scene) {
  return simulate::stars_from_catalogue(Catalogue::open().value(), scene, 11.0);
}

}  // namespace

TEST_CASE("stars of an invented sky are not identified") {
  const auto scene = small_scene();
  CHECK(align_rendered(scene, simulate::random_stars(scene, 10.0, 3)).outcome == AlignOutcome::not_identified);
}

TEST_CASE("an almost empty sky has too few stars") {
  const auto scene = small_scene();
  auto stars = table_stars(scene);
  const auto seen = simulate::star_places(scene, stars, 0);
  REQUIRE(seen.size() > 4);
  std::vector<simulate::SkyStar> few;
  for (std::size_t i = 0; i < 4; ++i) few.push_back({seen[i].id, seen[i].direction, seen[i].v_magnitude});
  CHECK(align_rendered(scene, few).outcome == AlignOutcome::too_few_stars);
}

TEST_CASE("a mount that stands still says nothing about its axis") {
  auto scene = small_scene();
  scene.exposure_s = 5.0;
  scene.mount.rate_ratio = 0.0;
  const AlignReport report = align_rendered(scene, table_stars(scene));
  CHECK(report.outcome == AlignOutcome::axis_not_observable);
  REQUIRE(report.mount);
  CHECK(report.mount->rate_match == RateMatch::stopped);
}

TEST_CASE("three frames with a knock between them contradict each other") {
  auto scene = small_scene();
  scene.frames = 3;
  simulate::Slip slip;
  slip.at_s = 250.0;  // after the second frame
  slip.nudge.amount = Angle::arcmin(4);
  slip.nudge.direction = Angle::deg(50);
  slip.nudge.roll = Angle::arcmin(3);
  scene.slips = {slip};
  CHECK(align_rendered(scene, table_stars(scene)).outcome == AlignOutcome::inconsistent);
}
