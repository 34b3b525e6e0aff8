// Shift, roll and arrows against the closed form of the motion of stars seen by a tracking camera.
#include <catch2/catch.hpp>
#include <cmath>

#include "polewright/sky.hpp"
#include "session/field_course.hpp"

using namespace polewright;

namespace {

struct Made {
  MountProblem problem;
  MountSolution solution;
};

/// A camera looking south at `altitude`, on a mount at latitude 45° whose axis is `too_high` above the pole.
Made tracked(Angle too_high, double rate, int frames, double interval_s) {
  Made made;
  MountProblem& p = made.problem;
  p.site = {Angle::deg(45.0), Angle::deg(10.0), 0.0};
  p.weather.refraction = false;
  p.reference_pole = ReferencePole::true_pole;
  MountSolution& s = made.solution;
  s.outcome = MountOutcome::solved;
  s.pole = visible_pole(p.site, p.weather, p.reference_pole);
  s.axis = enu_from_horizontal(Angle(), altitude_of(s.pole) + too_high);
  s.rate_ratio = rate;
  s.lens = centred_lens(Projection::rectilinear, 10000.0, 3000, 2000);
  // Camera axes over the ground when it looks at the meridian, 45° high in the south: x west, y down, z forward.
  const double h = std::sqrt(0.5);
  const Rotation<Camera, Enu> start{{-1, 0, 0, 0, -h, -h, 0, -h, h}};
  for (int i = 0; i < frames; ++i) {
    MountFrame f;
    f.name = "f" + std::to_string(i);
    f.mid_time = UtcTime::from_calendar({2026, 10, 10, 20, 0, 0.0}).plus_seconds(interval_s * i);
    f.width_px = 3000;
    f.height_px = 2000;
    p.frames.push_back(f);
    MountFrameFit fit;
    const Angle turn = Angle::rad(-kSiderealRate_rad_per_s * rate * interval_s * i);
    fit.camera_from_enu = start * rotation_about(s.axis, -turn);
    fit.stars_used = 100;
    fit.residual_rms_px = 0.1;
    s.frames.push_back(fit);
  }
  return made;
}

}  // namespace

TEST_CASE("on the pole at the sidereal rate nothing moves") {
  const Made made = tracked(Angle(), 1.0, 3, 600.0);
  const auto course = session::course_of(made.problem, made.solution);
  REQUIRE(course);
  REQUIRE(course->measured.size() == 3);
  // What is left is annual aberration turning with the sky against the fixed axis of this made-up camera, and
  // precession and polar motion that the mean pole leaves out: below 1″ in 20 minutes, 0.05 px at 20.6″ per pixel.
  for (const FieldShift& s : course->measured) {
    CHECK(std::hypot(s.x_px, s.y_px) < 0.05);
    CHECK(std::abs(s.roll_arcmin) < 0.05);
  }
}

TEST_CASE("an axis half a degree too high moves stars as the small-angle forms say, and the prediction agrees") {
  const Angle error = Angle::arcmin(30.0);
  const Made made = tracked(error, 1.0, 4, 60.0);
  const auto course = session::course_of(made.problem, made.solution);
  REQUIRE(course);
  // physics: for H = 0, σ = r = 1: north drift 0, east drift −ω sinδ e_alt; at 45° in the south of latitude 45° δ = 0,
  // so only the field's twist ω cosδ (… − e_alt cosH) = −ω e_alt is left.
  const double minutes = 3.0;
  const double twist_arcmin = kSiderealRate_rad_per_s * 60.0 * minutes * error.rad() * 180.0 * 60.0 / M_PI;
  const FieldShift& last = course->measured.back();
  // Within 3 %: the star's hour angle and declination change by 0.75° and the angles are not infinitesimal.
  CHECK(std::abs(last.roll_arcmin) == Approx(twist_arcmin).epsilon(0.03));
  CHECK(std::hypot(last.x_px, last.y_px) < 0.1 * 10000.0 * kSiderealRate_rad_per_s * 180.0 * error.rad());
  const FieldShift& predicted = course->fitted.back();
  CHECK(predicted.time_s == Approx(180.0));
  CHECK(predicted.roll_arcmin == Approx(last.roll_arcmin).margin(1e-6));
  CHECK(predicted.x_px == Approx(last.x_px).margin(1e-6));
  CHECK(predicted.y_px == Approx(last.y_px).margin(1e-6));
  CHECK(course->fitted.front().x_px == Approx(0.0).margin(1e-3));
}

TEST_CASE("a mount that runs at half the rate lets the stars drift at half the sky's speed, towards the west") {
  const Made made = tracked(Angle(), 0.5, 2, 60.0);
  const auto course = session::course_of(made.problem, made.solution);
  REQUIRE(course);
  const double px = 10000.0 * std::tan(0.5 * kSiderealRate_rad_per_s * 60.0);
  // x points west on this camera; 0.1 % for the curvature of the path over 15′
  CHECK(course->measured.back().x_px == Approx(px).epsilon(1e-3));
  for (const MotionArrow& m : course->motion) CHECK(m.px_per_min.x > 0.9 * px);
}

TEST_CASE("the smallest angle of a pixel is at the corner of a rectilinear frame") {
  const Made made = tracked(Angle(), 1.0, 2, 60.0);
  const auto course = session::course_of(made.problem, made.solution);
  REQUIRE(course);
  // radial scale of a rectilinear lens: dr/dθ = f / cos²θ
  const double corner = std::atan(std::hypot(1499.5, 999.5) / 10000.0);
  CHECK(course->finest_scale.rad() == Approx(std::pow(std::cos(corner), 2) / 10000.0).epsilon(1e-3));
}
