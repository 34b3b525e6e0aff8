#include <catch2/catch.hpp>
#include <numbers>

#include "polewright/advise.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

struct Found {
  MountProblem problem;
  MountSolution solution;
};

/// Axis on the pole, sidereal rate, camera at the celestial equator; a frame of one pixel, no air.
Found on_the_pole() {
  Found f;
  f.problem.site = {Angle::deg(45.0), Angle(), 0.0};
  f.problem.weather.refraction = false;
  MountFrame frame;
  frame.mid_time = UtcTime::from_calendar({2026, 3, 1, 22, 0, 0.0});
  frame.width_px = frame.height_px = 1;
  f.problem.frames = {frame};
  f.solution.outcome = MountOutcome::solved;
  f.solution.pole = f.solution.axis = visible_pole(f.problem.site, f.problem.weather, ReferencePole::true_pole);
  f.solution.rate_ratio = 1.0;
  f.solution.lens = centred_lens(Projection::rectilinear, 20000.0, 1, 1);
  MountFrameFit fit;
  fit.camera_from_enu = aimed_at(enu_of(f.problem.site, Angle(), Angle()), Angle());
  f.solution.frames = {fit};
  return f;
}

}  // namespace

TEST_CASE("unsteady running trails by its swing within the exposure, whatever the axis") {
  Found f = on_the_pole();
  f.solution.turn_scatter = Angle::arcsec(10.0);
  // A sine of 10″ rms swings by 2√2·10″ from end to end; in 60 s of a 480 s period by sin(π/8) of that at worst.
  const auto advice = exposure_advice(f.solution, f.problem, 60.0, 1.0);
  const double swing_px = Angle::arcsec(20.0 * std::numbers::sqrt2 * std::sin(std::numbers::pi / 8.0)).rad() * 20000.0;
  REQUIRE(advice.periodic_trail_px);
  CHECK(*advice.periodic_trail_px == Approx(swing_px).epsilon(1e-4));
  // Diurnal aberration drifts by 1e-3″ a minute.
  CHECK(*advice.planned_trail_px == Approx(swing_px).margin(1e-3));
  CHECK(*advice.axis_trail_px < 1e-3);
  CHECK(*advice.rate_trail_px < 1e-3);
  CHECK_FALSE(*advice.good_enough);
  CHECK(*advice.longest_s < 60.0);
  // Beyond half a period there is nothing more to come.
  const auto longer = exposure_advice(f.solution, f.problem, 600.0, 1.0);
  CHECK(*longer.periodic_trail_px == Approx(Angle::arcsec(20.0 * std::numbers::sqrt2).rad() * 20000.0).epsilon(1e-4));
}

TEST_CASE("a mount whose axis was not found is advised by its rate alone") {
  Found f = on_the_pole();
  f.solution.outcome = MountOutcome::axis_not_observable;
  f.solution.rate_ratio = 0.0;
  const auto advice = exposure_advice(f.solution, f.problem, 10.0, 1.0);
  // 15.041″ per second at the equator.
  CHECK(*advice.planned_trail_px == Approx(Angle::arcsec(150.41067).rad() * 20000.0).epsilon(1e-3));
  // A camera that stands still keeps the ground sharp.
  CHECK(*advice.longest_ground_s == kLongestExposure_s);
  const FieldDrift drift = field_drift(f.solution, f.problem);
  CHECK(drift.east_arcsec_per_min == Approx(-15.041067 * 60.0).epsilon(1e-3));
}

TEST_CASE("nothing is advised without a usable frame or a plan") {
  Found f = on_the_pole();
  CHECK_FALSE(exposure_advice(f.solution, f.problem, {}, 1.0).planned_trail_px);
  CHECK_FALSE(exposure_advice(f.solution, f.problem, {}, 1.0).good_enough);
  f.solution.frames[0].set_aside = true;
  CHECK_FALSE(exposure_advice(f.solution, f.problem, 60.0, 1.0).longest_s);
  CHECK(field_drift(f.solution, f.problem).worst_px_per_min == 0.0);
  CHECK_FALSE(choose_star_target(f.solution, f.problem));
}
