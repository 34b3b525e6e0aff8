// Drift of the field and trails against the check values: exact rotations of an airless sky, and the tolerance rules.
#include <catch2/catch.hpp>

#include "polewright/advise.hpp"
#include "support/check_values.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

/// A solved mount looking at a hour angle and declination, without air.
struct Found {
  MountProblem problem;
  MountSolution solution;
};

Found found(double latitude_deg, double hour_angle_h, double dec_deg, AxisError error, double ratio, double focal_px,
            int width_px, int height_px) {
  Found f;
  f.problem.site = {Angle::deg(latitude_deg), Angle(), 0.0};
  f.problem.weather.refraction = false;
  f.problem.reference_pole = ReferencePole::true_pole;
  MountFrame frame;
  frame.mid_time = UtcTime::from_calendar({2026, 3, 1, 22, 0, 0.0});
  frame.width_px = width_px;
  frame.height_px = height_px;
  f.problem.frames = {frame};
  MountSolution& s = f.solution;
  s.outcome = MountOutcome::solved;
  s.pole = visible_pole(f.problem.site, f.problem.weather, ReferencePole::true_pole);
  s.axis = axis_with_error(s.pole, f.problem.site, error);
  s.altitude_error = altitude_of(s.axis) - altitude_of(s.pole);
  s.rate_ratio = ratio;
  s.lens = centred_lens(Projection::rectilinear, focal_px, width_px, height_px);
  MountFrameFit fit;
  fit.camera_from_enu = aimed_at(enu_of(f.problem.site, Angle::hours(hour_angle_h), Angle::deg(dec_deg)), Angle());
  s.frames = {fit};
  return f;
}

}  // namespace

TEST_CASE("drift per minute of the check values (4_drift, exact rotations)") {
  int compared = 0;
  for (const auto& c : check_values("4_drift")) {
    if (!c.contains("exact") || !c.contains("case") || !c["exact"].is_object()) continue;
    const Found f =
        found(c["lat"], c["H_hours"], c["dec"],
              {Angle::arcmin(c["e_alt_up_arcmin"]), Angle::arcmin(c["e_az_east_arcmin"])}, c["r"], 1e4, 401, 401);
    const FieldDrift d = field_drift(f.solution, f.problem);
    INFO(c["case"].get<std::string>());
    // The check value is the displacement over the minute after the frame, ours the rate at the frame: they differ by
    // the drift's own change over half a minute, 0.22 % of the drift (7.5′ of turn), and diurnal aberration's 0.3″
    // turns with the sky by 1e-3″/min.
    const double size = std::hypot(c["exact"]["north_drift"].get<double>(), c["exact"]["east_drift"].get<double>()) +
                        std::abs(c["exact"]["twist_PA"].get<double>());
    const double margin = 0.0025 * size + 0.002;
    CHECK(d.north_arcsec_per_min == Approx(c["exact"]["north_drift"].get<double>()).margin(margin));
    CHECK(d.east_arcsec_per_min == Approx(c["exact"]["east_drift"].get<double>()).margin(margin));
    CHECK(d.twist_arcsec_per_min == Approx(c["exact"]["twist_PA"].get<double>()).margin(margin));
    ++compared;
  }
  CHECK(compared >= 12);
}

TEST_CASE("one degree of axis error drifts by 15.7 arcseconds per minute at most (4_drift)") {
  for (const auto& c : check_values("4_drift")) {
    if (c.value("name", "") != "drift arcsec/min per degree") continue;
    // Azimuth error at the meridian and equator drifts wholly in declination; 1° on the sky is 1°/cos 45° of the base.
    const Found f =
        found(45.0, 0.0, 0.0, {Angle(), Angle::deg(1.0) / std::cos(std::numbers::pi / 4)}, 1.0, 1e4, 401, 401);
    const FieldDrift d = field_drift(f.solution, f.problem);
    // The sine of one degree is short of its arc by 5e-5, and the axis's azimuth is exact: 0.1 %.
    CHECK(std::abs(d.north_arcsec_per_min) == Approx(c["sidereal"].get<double>()).epsilon(1e-3));
    CHECK(std::abs(d.north_arcsec_per_min) == Approx(c["published"].get<double>()).epsilon(4e-3));
    return;
  }
  FAIL("check value missing");
}

TEST_CASE("untracked trails of the check values (5_trails)") {
  int compared = 0;
  for (const auto& c : check_values("5_trails")) {
    if (c.value("name", "") != "untracked trail") continue;
    const double f_px = c["f_mm"].get<double>() * 1000.0 / c["pitch_um"].get<double>();
    // A frame of one pixel: the trail at the centre.
    const double dec = c["dec"];
    const Found f = found(dec < 0 ? -40.0 : 40.0, 0.0, dec, {}, 0.0, f_px, 1, 1);
    const auto advice = exposure_advice(f.solution, f.problem, c["t_s"].get<double>(), 1.0);
    // Four chords of an arc, and the sky turning under refraction-free apparent places: 1e-3.
    CHECK(*advice.planned_trail_px == Approx(c["trail_px"].get<double>()).epsilon(1e-3));
    ++compared;
  }
  CHECK(compared >= 8);
}

TEST_CASE("tolerance: 61 arcminutes at 50 mm and 23 at 135 mm trail one pixel in 60 s (physics page)") {
  // ω·E·t over the scale, at its largest a quarter turn from the error's direction. The page rounds to whole minutes.
  for (const auto& [focal_mm, error_arcmin] : {std::pair{50.0, 61.0}, {135.0, 23.0}}) {
    const double f_px = focal_mm * 1000.0 / 3.9;
    const Found f =
        found(45.0, 0.0, 0.0, {Angle(), Angle::arcmin(error_arcmin) / std::cos(std::numbers::pi / 4)}, 1.0, f_px, 1, 1);
    const auto advice = exposure_advice(f.solution, f.problem, 60.0, 1.0);
    CHECK(*advice.planned_trail_px == Approx(1.0).margin(0.02));
    CHECK(*advice.longest_s == Approx(60.0).margin(1.2));
    CHECK(*advice.axis_trail_px == Approx(*advice.planned_trail_px).epsilon(1e-3));
    CHECK(*advice.rate_trail_px < 1e-3);
    CHECK(*advice.longest_after_s == kLongestExposure_s);
  }
}

TEST_CASE("half rate smears sky and ground alike (5_trails: 7.52 arcseconds per second)") {
  const Found f = found(45.0, 0.0, 0.0, {}, 0.5, 5000.0, 1, 1);
  const auto advice = exposure_advice(f.solution, f.problem, 10.0, 2.0);
  for (const auto& c : check_values("5_trails"))
    if (c.value("name", "") == "half-sidereal residual star rate") {
      const double px = Angle::arcsec(c["arcsec_per_s"].get<double>() * 10.0).rad() * 5000.0;
      CHECK(*advice.planned_trail_px == Approx(px).epsilon(1e-3));
    }
  CHECK(*advice.longest_s == Approx(*advice.longest_ground_s).epsilon(2e-3));
}
