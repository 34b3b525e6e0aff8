// A made-up `align` result with every field filled, for tests of the report stage.
#pragma once

#include "polewright/report.hpp"

namespace polewright::test {

inline AlignReport sample_report() {
  AlignReport r;
  r.outcome = AlignOutcome::solved;
  r.message = "The axis is 31.0′ ± 0.4′ from the pole: 18.2′ too high and its base 36.3′ too far west.";
  r.site = SiteReport{{Angle::deg(46.55), Angle::deg(7.98), 1650.0}, "option --site"};
  r.optics = {12821.0, 50.0, 3.9, 16.0886, false, -0.012, 0.003};
  FrameReport f;
  f.file = "first.fits";
  f.mid_time = UtcTime::from_calendar({2026, 8, 12, 21, 4, 15.0});
  f.time_source = "FITS DATE-OBS";
  f.exposure_s = 30.0;
  f.width_px = 1500;
  f.height_px = 1000;
  f.stars_detected = 412;
  f.stars_identified = 388;
  f.centre_ra_deg = 283.6;
  f.centre_dec_deg = 33.0;
  f.centre_altitude_deg = 71.2;
  f.centre_azimuth_deg = 178.5;
  f.roll_deg = 12.5;
  f.residual_rms_px = 0.08;
  f.fwhm_px = 2.4;
  f.trail_px = 0.6;
  f.trail_sigma_px = 0.1;
  f.trail_angle_deg = -32.0;
  r.frames = {f, f};
  r.frames[1].file = "second.fits";
  r.frames[1].mid_time = f.mid_time->plus_seconds(180.0);
  MountSolution m;
  m.outcome = MountOutcome::solved;
  m.pole = visible_pole(r.site->site, Weather{}, ReferencePole::refracted);
  m.axis = enu_from_horizontal(Angle::arcmin(-36.3), altitude_of(m.pole) + Angle::arcmin(18.2));
  m.altitude_error = Angle::arcmin(18.2);
  m.azimuth_error = Angle::arcmin(-36.3);
  m.azimuth_error_on_sky = Angle::arcmin(-24.9);
  m.total_error = Angle::arcmin(31.0);
  m.on_sky_cov_arcmin2 = {0.09, 0.01, 0.04};
  m.altitude_sigma = Angle::arcmin(0.3);
  m.azimuth_sigma = Angle::arcmin(0.29);
  m.azimuth_on_sky_sigma = Angle::arcmin(0.2);
  m.total_sigma = Angle::arcmin(0.4);
  m.rate_ratio = 1.00021;
  m.rate_sigma = 0.00008;
  m.rate_match = RateMatch::sidereal;
  r.mount = m;
  r.drift = FieldDrift{-3.2, 4.1, -2.0, 0.32, 0.41};
  AxisCorrection c;
  c.altitude_turn = AltitudeTurn::lower;
  c.altitude = Angle::arcmin(18.2);
  c.azimuth_turn = AzimuthTurn::east;
  c.azimuth_base = Angle::arcmin(36.3);
  c.azimuth_on_sky = Angle::arcmin(24.9);
  c.clockwise_from_above = true;
  c.right_hand = true;
  c.rim_mm = 0.42;
  c.altitude_screw_turns = 0.30;
  r.correction = c;
  r.star_target = StarTarget{"Vega", {700.2, 412.9}, {699.0, 431.4}, {721.7, 440.2}};
  ExposureAdvice e;
  e.tolerance_px = 1.0;
  e.planned_s = 300.0;
  e.planned_trail_px = 2.05;
  e.planned_trail_after_px = 0.03;
  e.good_enough = false;
  e.longest_s = 146.0;
  e.longest_after_s = 9000.0;
  r.exposure = e;
  r.causes = {
      {"axis misalignment", 0.93, 0.38, "the axis is 31.0′ ± 0.4′ from the pole, which moves stars 0.38 px a minute"}};
  r.warnings = {"one pointing cannot tell a sagging ball head from an axis error"};
  return r;
}

}  // namespace polewright::test
