// What must not depend on accidents of the data: order of stars, which frame is first, the side of the Earth, the
// picture's handedness, the units of sigma.
#include <algorithm>
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

SessionSpec any_spec(std::mt19937_64& random) {
  const auto between = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  SessionSpec spec;
  spec.site.latitude = Angle::deg(between(20.0, 60.0));
  spec.focal_mm = between(24.0, 200.0);
  spec.axes = {{Angle::arcmin(between(-120.0, 120.0)), Angle::arcmin(between(-120.0, 120.0))}};
  spec.pointings = {
      {Angle::hours(between(-3.0, 3.0)), Angle::deg(between(10.0, 80.0)), Angle::deg(between(-180.0, 180.0))}};
  spec.frames = {{0.0}, {between(60.0, 400.0)}, {between(420.0, 900.0)}};
  return spec;
}

}  // namespace

TEST_CASE("order of stars and threads do not change the answer") {
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    std::mt19937_64 random(seed);
    const SessionSpec spec = any_spec(random);
    Session session = make_session(spec, {}, random);
    MountOptions one, two;
    one.threads = 1;
    two.threads = 2;
    const MountSolution a = solve_mount(session.problem, one);
    for (MountFrame& f : session.problem.frames) std::shuffle(f.stars.begin(), f.stars.end(), random);
    const MountSolution b = solve_mount(session.problem, two);
    REQUIRE(a.outcome == MountOutcome::solved);
    REQUIRE(b.outcome == MountOutcome::solved);
    // Sums in another order: rounding, and a last step below a hundredth of a sigma.
    CHECK(angle_between(a.axis, b.axis) < a.total_sigma * 0.01);
    CHECK(a.total_sigma / b.total_sigma == Approx(1.0).epsilon(0.01));
  }
}

TEST_CASE("the start attitude does not matter within half a degree") {
  for (std::uint64_t seed = 11; seed <= 16; ++seed) {
    std::mt19937_64 random(seed);
    const SessionSpec spec = any_spec(random);
    MountSolution first;
    for (const double error_arcmin : {0.0, 5.0, 30.0}) {
      SessionNoise noise;
      noise.start_attitude_error = Angle::arcmin(error_arcmin);
      std::mt19937_64 same(seed);
      const MountSolution s = solve_mount(make_session(spec, noise, same).problem);
      REQUIRE(s.outcome == MountOutcome::solved);
      if (error_arcmin == 0.0) first = s;
      CHECK(angle_between(s.axis, first.axis) < first.total_sigma * 0.02);
    }
  }
}

TEST_CASE("all sigmas scaled alike: same axis, same stated uncertainty") {
  // The fit learns the scatter from the data, so only the relative sizes of the stated sigmas count.
  for (const double factor : {0.5, 3.0}) {
    std::mt19937_64 random(21);
    const SessionSpec spec = any_spec(random);
    SessionNoise noise;
    noise.stars = 500;
    Session session = make_session(spec, noise, random);
    const MountSolution a = solve_mount(session.problem);
    for (MountFrame& f : session.problem.frames)
      for (MountStar& s : f.stars) s.measured_cov.xx *= factor * factor, s.measured_cov.yy *= factor * factor;
    const MountSolution b = solve_mount(session.problem);
    REQUIRE(b.outcome == MountOutcome::solved);
    CHECK(angle_between(a.axis, b.axis) < a.total_sigma * 0.1);
    CHECK(a.total_sigma / b.total_sigma == Approx(1.0).epsilon(0.1));
  }
}

TEST_CASE("the mirror image of a session in the other hemisphere has the mirrored answer") {
  // Reflect the ground east to west: azimuth errors change sign, altitude errors stay.
  for (std::uint64_t seed = 31; seed <= 38; ++seed) {
    std::mt19937_64 random(seed);
    SessionSpec spec = any_spec(random);
    const Session session = make_session(spec, {}, random);
    const MountSolution north = solve_mount(session.problem);
    SessionSpec mirrored = spec;
    mirrored.pointings[0].hour_angle = -spec.pointings[0].hour_angle;
    mirrored.axes[0].azimuth = -spec.axes[0].azimuth;
    mirrored.pointings[0].roll = -spec.pointings[0].roll;
    mirrored.site.latitude = -spec.site.latitude;
    mirrored.pointings[0].declination = -spec.pointings[0].declination;
    const MountSolution south = solve_mount(make_session(mirrored, {}, random).problem);
    REQUIRE(north.outcome == MountOutcome::solved);
    REQUIRE(south.outcome == MountOutcome::solved);
    const double slack = 5.0 * std::hypot(north.total_sigma.arcmin(), south.total_sigma.arcmin());
    CHECK(north.altitude_error.arcmin() == Approx(south.altitude_error.arcmin()).margin(slack));
    CHECK(north.azimuth_error_on_sky.arcmin() == Approx(-south.azimuth_error_on_sky.arcmin()).margin(slack));
  }
}

TEST_CASE("more of the same frames never makes the axis less certain") {
  for (std::uint64_t seed = 41; seed <= 44; ++seed) {
    std::mt19937_64 random(seed);
    SessionSpec spec = any_spec(random);
    spec.frames = {{0.0}, {120.0}};
    double last = 1e9;
    for (int n = 2; n <= 6; ++n) {
      std::mt19937_64 same(seed);
      SessionNoise noise;
      noise.stars = 300;
      const MountSolution s = solve_mount(make_session(spec, noise, same).problem);
      REQUIRE(s.outcome == MountOutcome::solved);
      // Scatter estimated anew each time moves the sigma by some percent.
      CHECK(s.total_sigma.arcmin() < 1.1 * last);
      last = s.total_sigma.arcmin();
      spec.frames.push_back({120.0 * n});
    }
  }
}
