// Star-list level: matching, identification and mount fit are in; only the pixels are left out.
#include <catch2/catch.hpp>

#include "nights/star_lists.hpp"
#include "session/night_explain.hpp"

using namespace polewright;

namespace {

CheckReport explained(const test::NightPlan& plan) {
  CheckReport report;
  REQUIRE_FALSE(session::explain_night(test::star_list_night(plan), CheckOptions{}, {}, report));
  REQUIRE(report.sequences.size() == 1);
  return report;
}

}  // namespace

TEST_CASE(
    "axis from a night of subs: within 1 arcminute at 135 mm over 30 minutes with 4 arcseconds of periodic error") {
  for (const std::uint64_t seed : {11u, 12u, 13u}) {
    test::NightPlan plan = test::clean_night(135.0, 60.0, 28, seed);
    plan.scene.mount.altitude_error = Angle::arcmin(24.0);
    plan.scene.mount.azimuth_error = Angle::arcmin(-35.0);
    plan.scene.mount.periodic = {{Angle::arcsec(4.0), 480.0, Angle::deg(80)}};
    plan.scene.pointing = simulate::Horizontal{Angle::deg(170), Angle::deg(50), Angle::deg(20)};
    const CheckReport report = explained(plan);
    const CheckSequence& s = report.sequences[0];
    INFO("seed " << seed << ", identified " << s.frames_identified << ": " << s.mount_message);
    REQUIRE(s.mount);
    REQUIRE(s.mount->outcome == MountOutcome::solved);
    // One arcminute on the sky is the requirement itself.
    const Vec<Enu> truth = simulate::scene_truth(plan.scene).axis;
    CHECK(angle_between(s.mount->axis, truth).arcmin() < 1.0);
    REQUIRE_FALSE(s.diagnosis.causes.empty());
    CHECK(s.diagnosis.causes[0].cause == "axis misalignment");
    REQUIRE_FALSE(s.diagnosis.periodic.empty());
    CHECK(s.diagnosis.periodic[0].period_s == Approx(480.0).epsilon(0.02));
    CHECK(*s.diagnosis.periodic[0].amplitude_arcsec == Approx(4.0).epsilon(0.08));
  }
}

TEST_CASE("a field that came to rest during the night: the axis' stated error covers what is left of that") {
  test::NightPlan plan = test::clean_night(50.0, 60.0, 40, 31);
  plan.scene.mount.altitude_error = Angle::arcmin(22.0);
  plan.scene.mount.azimuth_error = Angle::arcmin(22.0);
  plan.scene.settlings = {{0.0, 376.0, {Angle::arcsec(1140.0), Angle::deg(50), Angle()}}};  // 71 px
  const CheckReport report = explained(plan);
  const CheckSequence& s = report.sequences[0];
  REQUIRE(s.diagnosis.settling);
  REQUIRE(s.mount);
  REQUIRE(s.mount->outcome == MountOutcome::solved);
  const Vec<Enu> truth = simulate::scene_truth(plan.scene).axis;
  INFO("axis off by " << angle_between(s.mount->axis, truth).arcmin() << "′, stated " << s.mount->total_sigma.arcmin());
  // Two total sigmas hold more than 95 % in a plane.
  CHECK(angle_between(s.mount->axis, truth) < s.mount->total_sigma * 2.0);
  CHECK(s.mount->total_sigma.arcmin() > 1.0);
}

TEST_CASE("a clean night of star lists: every frame sharp, nothing to blame") {
  const CheckReport report = explained(test::clean_night(85.0, 60.0, 24, 21));
  CHECK(report.sequences[0].diagnosis.causes.empty());
  CHECK(report.count(Verdict::sharp) == report.frames.size());
}

TEST_CASE("frames of two evenings under the same stars are two sequences") {
  const test::NightPlan plan = test::clean_night(50.0, 60.0, 12, 5);
  std::vector<session::NightFile> files = test::star_list_night(plan);
  const std::size_t one_evening = files.size();
  for (std::size_t i = 0; i < one_evening; ++i) {
    session::NightFile later = files[i];
    later.record->metadata.mid_time->value = later.record->metadata.mid_time->value.plus_seconds(86164.0);
    files.push_back(later);
  }
  CheckReport report;
  REQUIRE_FALSE(session::explain_night(files, CheckOptions{}, {}, report));
  REQUIRE(report.sequences.size() == 2);
  CHECK(report.sequences[0].frames.size() == one_evening);
  CHECK(report.sequences[1].frames.size() == one_evening);
}
