// Trails and targets under changes whose effect is known beforehand.
#include <catch2/catch.hpp>
#include <random>

#include "polewright/advise.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

struct Found {
  MountProblem problem;
  MountSolution solution;
};

Found found(Site site, Vec<Enu> look, AxisError error, double ratio, double focal_px) {
  Found f;
  f.problem.site = site;
  MountFrame frame;
  frame.mid_time = UtcTime::from_calendar({2026, 3, 1, 22, 0, 0.0});
  frame.width_px = 6000;
  frame.height_px = 4000;
  f.problem.frames = {frame};
  MountSolution& s = f.solution;
  s.outcome = MountOutcome::solved;
  s.pole = visible_pole(site, {}, ReferencePole::refracted);
  s.axis = axis_with_error(s.pole, site, error);
  s.altitude_error = altitude_of(s.axis) - altitude_of(s.pole);
  s.azimuth_error = error.azimuth;
  s.rate_ratio = ratio;
  s.lens = centred_lens(Projection::rectilinear, focal_px, 6000, 4000);
  MountFrameFit fit;
  fit.camera_from_enu = aimed_at(look, Angle::deg(30.0));
  s.frames = {fit};
  return f;
}

}  // namespace

TEST_CASE("longest exposure and trail are each other's inverse; correction never shortens a good exposure") {
  std::mt19937_64 random(5);
  const auto between = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  for (int i = 0; i < 25; ++i) {
    const Site site{Angle::deg(between(-60.0, 60.0)), Angle::deg(between(-180.0, 180.0)), 0.0};
    const AxisError error{Angle::arcmin(between(10.0, 90.0)), Angle::arcmin(between(-90.0, 90.0))};
    const Found f = found(site, enu_from_horizontal(Angle::deg(between(0.0, 360.0)), Angle::deg(between(35.0, 80.0))),
                          error, 1.0, between(5000.0, 30000.0));
    const double tolerance = between(0.5, 3.0);
    const auto advice = exposure_advice(f.solution, f.problem, 60.0, tolerance);
    REQUIRE(advice.longest_s);
    if (*advice.longest_s < kLongestExposure_s) {
      const auto at_limit = exposure_advice(f.solution, f.problem, *advice.longest_s, tolerance);
      CHECK(*at_limit.planned_trail_px == Approx(tolerance).epsilon(2e-3));
    }
    CHECK(*advice.good_enough == (*advice.longest_s >= 60.0));
    CHECK(*advice.longest_after_s >= 0.99 * *advice.longest_s);
    CHECK(*advice.planned_trail_after_px < *advice.planned_trail_px);
    // Physics page: at most ω·E·t, here with the frame's stretch towards its corner (1/cos² of the angle off axis).
    const double total = angle_between(f.solution.axis, f.solution.pole).rad();
    const double corner = std::atan(std::hypot(3000.0, 2000.0) / f.solution.lens.focal_px);
    const double most =
        kSiderealRate_rad_per_s * total * 60.0 * f.solution.lens.focal_px / std::pow(std::cos(corner), 2);
    // Refraction adds its own drift, up to 0.1″ per second within 35° of the zenith's far side: 0.3 px here.
    CHECK(*advice.planned_trail_px < most * 1.02 + 0.5);
  }
}

TEST_CASE("the target comes back to where it was when the correction is undone") {
  std::mt19937_64 random(6);
  const auto between = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  for (int i = 0; i < 30; ++i) {
    const Site site{Angle::deg(between(-60.0, 60.0)), Angle(), 0.0};
    const AxisError error{Angle::deg(between(-8.0, 8.0)), Angle::deg(between(-8.0, 8.0))};
    Found f = found(site, enu_from_horizontal(Angle::deg(between(0.0, 360.0)), Angle::deg(between(20.0, 70.0))), error,
                    1.0, 8000.0);
    const PixelPoint now{between(0.0, 5999.0), between(0.0, 3999.0)};
    const auto there = star_target(f.solution, f.problem, 0, now);
    if (!there) continue;
    // Carry the camera along with the base, then ask for the way back: from the pole to where the axis was.
    const BaseMove move = base_move(f.solution);
    f.solution.frames[0].camera_from_enu =
        f.solution.frames[0].camera_from_enu * (move.azimuth * move.altitude).inverse();
    std::swap(f.solution.axis, f.solution.pole);
    f.solution.altitude_error = -f.solution.altitude_error;
    const auto back = star_target(f.solution, f.problem, 0, there->after_both);
    REQUIRE(back);
    // Altitude and azimuth moves commute: the altitude hinge turns with the base. Rounding only.
    CHECK(back->after_both.x == Approx(now.x).margin(1e-5));
    CHECK(back->after_both.y == Approx(now.y).margin(1e-5));
  }
}
