// Series of every kind a user may shoot: what the fit makes of them.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

SessionSpec series(double latitude_deg = 47.0) {
  SessionSpec spec;
  spec.site.latitude = Angle::deg(latitude_deg);
  spec.axes = {{Angle::arcmin(25.0), Angle::arcmin(-40.0)}};
  const double sense = latitude_deg > 0 ? 1.0 : -1.0;
  spec.pointings = {{Angle::hours(1.0), Angle::deg(35.0 * sense), Angle::deg(5.0)},
                    {Angle::hours(-3.0), Angle::deg(60.0 * sense), Angle::deg(-30.0)}};
  return spec;
}

struct Solved {
  Session session;
  MountSolution s;
  double error_arcmin = 0.0;
};

Solved solve(const SessionSpec& spec, SessionNoise noise = {}, std::uint64_t seed = 1) {
  std::mt19937_64 random(seed);
  Solved r{make_session(spec, noise, random), {}, 0.0};
  r.s = solve_mount(r.session.problem);
  if (r.s.outcome == MountOutcome::solved) r.error_arcmin = angle_between(r.s.axis, r.session.axis).arcmin();
  UNSCOPED_INFO(r.s.message << " error " << r.error_arcmin << "' sigma " << r.s.total_sigma.arcmin() << "'");
  for (const auto& f : r.s.frames)
    UNSCOPED_INFO("  group " << f.group << " epoch " << f.axis_epoch << (f.swung ? " swung" : "") << " turn "
                             << f.turn.deg() << (f.set_aside ? " set aside: " + f.reason : ""));
  return r;
}

/// Within what the solution itself states: 4.3 sigmas in two dimensions, one false alarm in ten thousand.
bool honest(const Solved& r) {
  return r.error_arcmin < 4.3 * r.s.total_sigma.arcmin();
}

std::vector<ShotFrame> tracked(int n, double interval_s) {
  std::vector<ShotFrame> frames;
  for (int i = 0; i < n; ++i) frames.push_back({i * interval_s});
  return frames;
}

}  // namespace

TEST_CASE("axis swung by hand, unequal and unknown") {
  for (const double latitude : {47.0, -33.0}) {
    SessionSpec spec = series(latitude);
    spec.rate_ratio = 0.0;
    spec.pointings[0].declination = Angle::deg(latitude > 0 ? 60.0 : -60.0);
    spec.frames = {{0.0}, {20.0, Angle::deg(-17.0)}, {45.0, Angle::deg(38.0)}};
    const auto r = solve(spec);
    REQUIRE(r.s.outcome == MountOutcome::solved);
    CHECK(honest(r));
    CHECK(r.s.total_sigma.arcmin() < 0.1);
    CHECK(r.s.frames[1].swung);
    CHECK(r.s.frames[2].swung);
    // Turns about the axis, along tracking: 0.01° is far above the noise and far below the swings.
    CHECK(r.s.frames[1].turn.deg() == Approx(-17.0).margin(0.01));
    CHECK(r.s.frames[2].turn.deg() == Approx(38.0).margin(0.01));
    CHECK_FALSE(r.s.rate_ratio);
  }
}

TEST_CASE("tracked, then swung, still tracking") {
  SessionSpec spec = series();
  spec.frames = {{0.0}, {120.0}, {240.0, Angle::deg(45.0)}, {360.0, Angle::deg(45.0)}};
  const auto r = solve(spec);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  CHECK(honest(r));
  CHECK_FALSE(r.s.frames[1].swung);
  CHECK(r.s.frames[2].swung);
  CHECK_FALSE(r.s.frames[3].swung);
  REQUIRE(r.s.rate_ratio);
  CHECK(*r.s.rate_ratio == Approx(1.0).margin(5.0 * r.s.rate_sigma));
}

TEST_CASE("several pointings after re-aiming on the head share one axis") {
  SessionSpec spec = series();
  spec.frames = {{0.0}, {180.0}, {300.0, Angle(), 1}, {480.0, Angle(), 1}};
  const auto r = solve(spec);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  CHECK(honest(r));
  CHECK(r.s.frames[1].group == 0);
  CHECK(r.s.frames[2].group == 1);
  CHECK(r.s.frames[3].group == 1);
  CHECK(r.s.adjustments.empty());
  REQUIRE(r.s.head_sag);
  CHECK(r.s.head_sag->axis_scatter.arcmin() < 2.0);
}

TEST_CASE("a re-aim that looks like a swing of the axis is found out") {
  // Half an hour angle's worth of turn near the pole and a little in declination: by its direction it could be a swing.
  for (const double declination : {38.0, 45.0, 60.0}) {
    SessionSpec spec = series();
    spec.pointings[1] = {Angle::hours(1.0 + 1.5), Angle::deg(declination), Angle::deg(25.0)};
    spec.frames = {{0.0}, {180.0}, {300.0, Angle(), 1}, {480.0, Angle(), 1}};
    const auto r = solve(spec);
    REQUIRE(r.s.outcome == MountOutcome::solved);
    CHECK(honest(r));
    CHECK(r.s.frames[1].group == 0);
    CHECK(r.s.frames[2].group == 1);
    CHECK_FALSE(r.s.frames[2].swung);
  }
}

TEST_CASE("a sagging head is told from an axis error by two pointings") {
  SessionSpec spec = series();
  spec.sag_per_min = Angle::arcsec(3.0);
  // Tracking from minute to minute, re-aimed twice.
  spec.pointings.push_back({Angle::hours(4.0), Angle::deg(70.0), Angle::deg(80.0)});
  spec.frames = {{0.0}, {300.0}, {600.0, Angle(), 1}, {900.0, Angle(), 1}, {1200.0, Angle(), 2}, {1500.0, Angle(), 2}};
  SessionNoise noise;
  noise.stars = 600;
  const auto r = solve(spec, noise);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  REQUIRE(r.s.head_sag);
  // 3″ per minute feign 3″/(60 s · 15.04″/s) = 11.4′ in a direction that differs by pointing.
  CHECK(r.s.head_sag->axis_scatter.arcmin() > 4.0);
  CHECK(r.s.head_sag->axis_scatter.arcmin() < 25.0);
  CHECK(honest(r));
  CHECK(r.s.total_sigma.arcmin() > 2.0);
}

TEST_CASE("one bumped frame among many is set aside with a reason") {
  SessionSpec spec = series();
  spec.frames = tracked(8, 60.0);
  spec.frames[3].bump_right = Angle::arcmin(4.0);
  spec.frames[3].bump_up = Angle::arcmin(2.0);
  const auto r = solve(spec);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  CHECK(r.s.frames[3].set_aside);
  CHECK_FALSE(r.s.frames[3].reason.empty());
  for (const std::size_t i : {0u, 1u, 2u, 4u, 5u, 6u, 7u}) CHECK_FALSE(r.s.frames[i].set_aside);
  CHECK(honest(r));
  CHECK(r.s.frames[5].axis_shift_without);
}

TEST_CASE("a slip of the head makes two groups") {
  SessionSpec spec = series();
  spec.frames = tracked(8, 90.0);
  for (std::size_t i = 4; i < 8; ++i) spec.frames[i].bump_up = Angle::arcmin(6.0);
  const auto r = solve(spec);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  CHECK(honest(r));
  CHECK(r.s.frames[3].group == 0);
  CHECK(r.s.frames[4].group == 1);
  CHECK(r.s.frames[7].group == 1);
  for (const auto& f : r.s.frames) CHECK_FALSE(f.set_aside);
}

TEST_CASE("an adjustment between frames is found and its effect reported") {
  for (const bool told : {false, true})
    for (const double latitude : {47.0, -33.0}) {
      SessionSpec spec = series(latitude);
      spec.axes = {{Angle::arcmin(25.0), Angle::arcmin(-40.0)}, {Angle::arcmin(2.0), Angle::arcmin(5.0)}};
      spec.frames = {{0.0}, {240.0}, {400.0, Angle(), 0, {}, {}, 1}, {640.0, Angle(), 0, {}, {}, 1}};
      SessionNoise noise;
      noise.stars = 600;
      std::mt19937_64 random(5);
      Session session = make_session(spec, noise, random);
      if (told) session.problem.adjusted_before = {2};
      const MountSolution s = solve_mount(session.problem);
      INFO(told << " " << latitude << " " << s.message);
      REQUIRE(s.outcome == MountOutcome::solved);
      CHECK(angle_between(s.axis, session.axis).arcmin() < 4.3 * s.total_sigma.arcmin());
      REQUIRE(s.adjustments.size() == 1);
      const AxisChange& change = s.adjustments[0];
      CHECK(change.before_frame == 2);
      // Five sigmas of what it states itself.
      CHECK(change.altitude_change.arcmin() == Approx(-23.0).margin(5.0 * change.altitude_sigma.arcmin()));
      CHECK(change.azimuth_change.arcmin() == Approx(45.0).margin(5.0 * change.azimuth_sigma.arcmin()));
      CHECK(s.frames[1].axis_epoch == 0);
      CHECK(s.frames[2].axis_epoch == 1);
    }
}

TEST_CASE("rates: solar, lunar, half, reversed, other") {
  struct Case {
    double ratio;
    RateMatch match;
  };
  // Ratios of the solar and the mean lunar day to the sidereal one: check values 5_trails.
  for (const Case c : {Case{1.0, RateMatch::sidereal},
                       {0.997269663, RateMatch::solar},
                       {0.963498788, RateMatch::lunar},
                       {0.5, RateMatch::half},
                       {-1.0, RateMatch::reversed},
                       {0.75, RateMatch::other}})
    for (const double latitude : {47.0, -33.0}) {
      SessionSpec spec = series(latitude);
      spec.rate_ratio = c.ratio;
      spec.frames = tracked(2, 400.0);
      SessionNoise noise;
      noise.stars = 600;
      const auto r = solve(spec, noise);
      INFO(c.ratio << " " << latitude);
      REQUIRE(r.s.outcome == MountOutcome::solved);
      CHECK(honest(r));
      REQUIRE(r.s.rate_ratio);
      CHECK(*r.s.rate_ratio == Approx(c.ratio).margin(5.0 * r.s.rate_sigma));
      CHECK(r.s.rate_match == c.match);
    }
}

TEST_CASE("a rate changed during the series does not bend the axis") {
  SessionSpec spec = series();
  spec.frames = tracked(6, 120.0);
  spec.rate_of_frame = {1.0, 1.0, 1.0, 0.5, 0.5, 0.5};
  const auto r = solve(spec);
  REQUIRE(r.s.outcome == MountOutcome::solved);
  CHECK(honest(r));
  CHECK(*r.s.rate_ratio == Approx(0.5).margin(0.002));
  CHECK(r.s.rate_match == RateMatch::half);
}

TEST_CASE("an axis twenty degrees off is solved") {
  for (const double latitude : {47.0, -33.0, 12.0}) {
    SessionSpec spec = series(latitude);
    spec.axes = {{Angle::deg(10.0), Angle::deg(17.0)}};
    spec.frames = tracked(2, 180.0);
    const auto r = solve(spec);
    REQUIRE(r.s.outcome == MountOutcome::solved);
    CHECK(honest(r));
    CHECK(r.s.altitude_error.deg() == Approx(10.0).margin(0.1));
    CHECK(r.s.azimuth_error.deg() == Approx(17.0).margin(0.15));
  }
}
