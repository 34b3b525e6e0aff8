#include <catch2/catch.hpp>

#include "truth/mount/sessions/bound.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("three frames at 0, 25 and 50 degrees of swing give the axis to 0.05 arcminutes") {
  std::mt19937_64 random(21);
  double worst = 0.0, sum2 = 0.0, chi2 = 0.0, bound2 = 0.0;
  int count = 0;
  for (int i = 0; i < 30; ++i) {
    SessionSpec spec;
    const double sense = i % 2 == 0 ? 1.0 : -1.0;
    spec.site.latitude = Angle::deg(sense * (30.0 + i));
    spec.axes = {{Angle::arcmin(20.0 - 3.0 * i), Angle::arcmin(-30.0 + 4.0 * i)}};
    spec.pointings = {{Angle::hours(2.0 - 0.05 * i), Angle::deg(sense * (40.0 + i)), Angle::deg(9.0 * i)}};
    spec.rate_ratio = i % 3 == 0 ? 1.0 : 0.0;
    spec.frames = {{0.0}, {40.0, Angle::deg(25.0)}, {80.0, Angle::deg(50.0)}};
    SessionNoise noise;
    noise.common_error_px = 0.1;  // catalogue and distortion left over do not cancel when the field turns
    const Session session = make_session(spec, noise, random);
    const MountSolution s = solve_mount(session.problem);
    REQUIRE(s.outcome == MountOutcome::solved);
    const double error = angle_between(s.axis, session.axis).arcmin();
    worst = std::max(worst, error);
    sum2 += error * error;
    chi2 += std::pow(error / s.total_sigma.arcmin(), 2);
    bound2 += std::pow(axis_bound(session, spec, std::hypot(0.05, 0.1)).total_sigma.arcmin(), 2);
    ++count;
  }
  INFO("rms " << std::sqrt(sum2 / count) << " worst " << worst << " bound " << std::sqrt(bound2 / count) << " chi2 "
              << chi2 / count);
  CHECK(std::sqrt(sum2 / count) < 0.05);
  CHECK(worst < 0.1);
  // Total error over total sigma squared has mean 1 and, for 30 sessions, a scatter of at most 0.26.
  CHECK(chi2 / count == Approx(1.0).margin(0.8));
}
