// Every outcome other than solved, and what the message tells the user to do.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

SessionSpec pair() {
  SessionSpec spec;
  spec.axes = {{Angle::arcmin(10.0), Angle::arcmin(15.0)}};
  spec.pointings = {{Angle::hours(1.0), Angle::deg(30.0), Angle()}, {Angle::hours(-4.0), Angle::deg(50.0), Angle()}};
  spec.frames = {{0.0}, {180.0}};
  return spec;
}

MountSolution solve(const SessionSpec& spec, const SessionNoise& noise = {}, std::uint64_t seed = 1) {
  std::mt19937_64 random(seed);
  return solve_mount(make_session(spec, noise, random).problem);
}

bool says(const MountSolution& s, const char* words) {
  UNSCOPED_INFO(s.message);
  return s.message.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("one frame, or none") {
  SessionSpec spec = pair();
  spec.frames = {{0.0}};
  const MountSolution s = solve(spec);
  CHECK(s.outcome == MountOutcome::axis_not_observable);
  CHECK(says(s, "second"));
  CHECK(solve_mount({}).outcome == MountOutcome::axis_not_observable);
}

TEST_CASE("a camera that did not turn says nothing about the axis, but its rate is known") {
  for (const double stamp_sigma : {0.0, 0.5}) {
    SessionSpec spec = pair();
    spec.rate_ratio = 0.0;
    SessionNoise noise;
    noise.stamp_sigma_s = stamp_sigma;
    const MountSolution s = solve(spec, noise);
    CHECK(s.outcome == MountOutcome::axis_not_observable);
    CHECK(says(s, "did not turn"));
    REQUIRE(s.rate_ratio);
    CHECK(*s.rate_ratio == Approx(0.0).margin(0.02));
    CHECK(s.rate_match == RateMatch::stopped);
  }
}

TEST_CASE("too little turn for the stars: the message says how long to wait or how far to swing") {
  SessionSpec spec = pair();
  spec.frames = {{0.0}, {10.0}};
  SessionNoise noise;
  noise.stars = 8;
  noise.star_sigma_px = noise.stated_sigma_px = 0.5;
  const MountSolution s = solve(spec, noise);
  CHECK(s.outcome == MountOutcome::axis_not_observable);
  CHECK(says(s, "too small"));
  CHECK((says(s, " min, ") || says(s, "wing the axis")));
}

TEST_CASE("re-aimed between the frames") {
  SessionSpec spec = pair();
  spec.frames[1].pointing = 1;
  const MountSolution s = solve(spec);
  CHECK(s.outcome == MountOutcome::axis_not_observable);
  CHECK(says(s, "re-aimed"));
}

TEST_CASE("too few stars in all frames but one") {
  std::mt19937_64 random(2);
  Session session = make_session(pair(), {}, random);
  session.problem.frames[1].stars.resize(2);
  const MountSolution s = solve_mount(session.problem);
  CHECK(s.outcome == MountOutcome::axis_not_observable);
  CHECK(says(s, "enough stars"));
  CHECK(s.frames[1].set_aside);
  CHECK(s.frames[1].reason.find("2 usable stars") != std::string::npos);
}

TEST_CASE("three frames of which one was knocked contradict each other") {
  SessionSpec spec = pair();
  spec.frames = {{0.0}, {180.0}, {360.0}};
  spec.frames[1].bump_up = Angle::arcmin(12.0);
  spec.frames[1].bump_right = Angle::arcmin(-9.0);
  const MountSolution s = solve(spec);
  CHECK(s.outcome == MountOutcome::inconsistent);
  CHECK(says(s, "do not agree"));
}

TEST_CASE("a small knock is allowed for in the uncertainty instead") {
  SessionSpec spec = pair();
  spec.frames = {{0.0}, {180.0}, {360.0}};
  spec.frames[1].bump_up = Angle::arcsec(15.0);
  const MountSolution s = solve(spec);
  REQUIRE(s.outcome == MountOutcome::solved);
  CHECK(s.wobble.arcsec() > 2.0);
  CHECK(s.total_sigma.arcmin() > 2.0);
}

TEST_CASE("data that make no sense are refused, not crashed on") {
  std::mt19937_64 random(3);
  Session session = make_session(pair(), {}, random);
  MountProblem broken = session.problem;
  for (MountFrame& f : broken.frames) f.lens.focal_px = 0.0;
  CHECK(solve_mount(broken).outcome == MountOutcome::axis_not_observable);
  broken = session.problem;
  for (MountFrame& f : broken.frames)
    for (MountStar& s : f.stars) s.measured.x = std::nan("");
  CHECK(solve_mount(broken).outcome == MountOutcome::axis_not_observable);
  broken = session.problem;
  for (MountFrame& f : broken.frames)
    for (MountStar& s : f.stars) s.measured_cov = {};  // sigma 0: floored, not divided by
  CHECK(solve_mount(broken).outcome == MountOutcome::solved);
  broken = session.problem;
  for (MountFrame& f : broken.frames) f.stars.clear();
  CHECK(solve_mount(broken).outcome == MountOutcome::axis_not_observable);
}

TEST_CASE("a long series with a knock in it is solved in good time") {
  SessionSpec spec = pair();
  spec.frames.clear();
  for (int i = 0; i < 60; ++i) spec.frames.push_back({30.0 * i});
  spec.frames[20].bump_up = Angle::arcmin(3.0);
  for (std::size_t i = 40; i < 60; ++i) spec.frames[i].bump_right = Angle::arcmin(4.0);
  SessionNoise noise;
  noise.stars = 80;
  const MountSolution s = solve(spec, noise);
  REQUIRE(s.outcome == MountOutcome::solved);
  CHECK(s.frames[20].set_aside);
  CHECK(s.frames[39].group == 0);
  CHECK(s.frames[40].group == 1);
}

TEST_CASE("options out of range are named") {
  MountOptions options;
  CHECK_FALSE(options.validate());
  options.robust_scale = 0.0;
  REQUIRE(options.validate());
  CHECK(options.validate()->found.find("robust_scale") != std::string::npos);
  options = {};
  options.largest_wobble = Angle::arcmin(-1.0);
  CHECK(options.validate());
  options = {};
  options.turn_noise = Angle();
  CHECK(options.validate());
  options = {};
  options.common_model_error_px = -0.1;
  CHECK(options.validate());
  options = {};
  options.largest_useful_sigma = Angle();
  CHECK(options.validate());
}
