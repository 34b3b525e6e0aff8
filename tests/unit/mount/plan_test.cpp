// Planning: what more frames would bring, held against sessions that then are shot.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

SessionSpec short_pair() {
  SessionSpec spec;
  spec.axes = {{Angle::arcmin(10.0), Angle::arcmin(15.0)}};
  spec.pointings = {{Angle::hours(1.0), Angle::deg(45.0), Angle()}};
  spec.frames = {{0.0}, {60.0}};
  return spec;
}

MountSolution shoot(const SessionSpec& spec, MountProblem* problem = nullptr) {
  std::mt19937_64 random(4);
  SessionNoise noise;
  noise.stars = 600;
  Session session = make_session(spec, noise, random);
  if (problem) *problem = session.problem;
  return solve_mount(session.problem);
}

}  // namespace

TEST_CASE("the wait and the swing it asks for bring what they promise") {
  MountProblem problem;
  const MountSolution first = shoot(short_pair(), &problem);
  REQUIRE(first.outcome == MountOutcome::solved);
  const Angle wanted = Angle::arcmin(0.25);
  const NextShot next = plan_next(problem, first, wanted);
  // Stars on an even grid against random ones, scatter estimated: 15 %.
  CHECK(next.expected_now / first.total_sigma == Approx(1.0).epsilon(0.15));
  REQUIRE(next.wait_s);
  REQUIRE(next.swing);

  SessionSpec waited = short_pair();
  waited.frames.push_back({60.0 + *next.wait_s});
  CHECK(shoot(waited).total_sigma / wanted == Approx(1.0).epsilon(0.15));
  SessionSpec swung = short_pair();
  swung.frames.push_back({75.0, *next.swing});
  CHECK(shoot(swung).total_sigma.arcmin() < 1.15 * wanted.arcmin());
  // Nobody swings an axis by half a degree and lets go: five at least.
  CHECK(next.swing->deg() == Approx(5.0));
}

TEST_CASE("what cannot be had is not promised") {
  MountProblem problem;
  const MountSolution first = shoot(short_pair(), &problem);
  const NextShot next = plan_next(problem, first, Angle::arcsec(0.01));
  CHECK_FALSE(next.wait_s);
  CHECK_FALSE(next.swing);
}

TEST_CASE("planned sessions: longer is better, a swing better still, no turn shows nothing") {
  PlannedSession plan;
  plan.site = {Angle::deg(-33.0), Angle(), 0.0};
  plan.width_px = 6000;
  plan.height_px = 4000;
  plan.lens = centred_lens(Projection::rectilinear, 12800.0, 6000, 4000);
  plan.pointings = {{enu_of(plan.site, Angle::hours(1.0), Angle::deg(-60.0)), Angle()}};
  plan.frames = {{0.0, Angle(), 0}, {120.0, Angle(), 0}};
  const ExpectedAxis two = expected_axis(plan);
  plan.frames[1].time_s = 240.0;
  const ExpectedAxis four = expected_axis(plan);
  REQUIRE(two.observable);
  // The turn doubles, so the sigma halves (small angles; the geometry changes by a degree).
  CHECK(two.total_sigma / four.total_sigma == Approx(2.0).epsilon(0.03));
  plan.frames = {{0.0, Angle(), 0}, {40.0, Angle::deg(25.0), 0}, {80.0, Angle::deg(50.0), 0}};
  CHECK(expected_axis(plan).total_sigma.arcmin() < 0.05);
  plan.rate_ratio = 0.0;
  plan.frames = {{0.0, Angle(), 0}, {120.0, Angle(), 0}};
  CHECK_FALSE(expected_axis(plan).observable);
  plan.frames.clear();
  CHECK_FALSE(expected_axis(plan).observable);
}

TEST_CASE("scatter of the head and of the time stamps is planned for") {
  PlannedSession plan;
  plan.site = {Angle::deg(47.0), Angle(), 0.0};
  plan.width_px = 6000;
  plan.height_px = 4000;
  plan.lens = centred_lens(Projection::rectilinear, 12800.0, 6000, 4000);
  plan.pointings = {{enu_of(plan.site, Angle::hours(1.0), Angle::deg(45.0)), Angle()}};
  plan.frames = {{0.0, Angle(), 0}, {180.0, Angle(), 0}};
  const Angle still = expected_axis(plan).total_sigma;
  plan.wobble = Angle::arcsec(3.0);
  // Two attitudes, two directions across the axis, 3″ each, over a turn of 2707″.
  const double wobble_arcmin = Angle::rad(std::sqrt(4.0) * 3.0 / 2707.4).arcmin();
  CHECK(expected_axis(plan).total_sigma.arcmin() == Approx(std::hypot(still.arcmin(), wobble_arcmin)).epsilon(0.05));
  plan.wobble = Angle();
  plan.interval_sigma_s = 0.3;
  // Tracking on the pole: the sky's turn and the mount's are about the same axis, so intervals do not matter.
  CHECK(expected_axis(plan).total_sigma / still == Approx(1.0).epsilon(0.01));
}
