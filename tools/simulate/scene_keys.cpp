// The scene's part of a scene file.
#include "simulate/scene_keys.hpp"

namespace polewright::simulate {
namespace {

void read_nudge(Keys& k, Nudge& n) {
  k.arcsec("amount_arcsec", n.amount);
  k.deg("direction_deg", n.direction);
  k.arcsec("roll_arcsec", n.roll);
}

void read_pointing(Keys& k, Pointing& pointing) {
  if (k.has("ra_deg") || k.has("dec_deg")) {
    Equatorial e;
    k.deg("ra_deg", e.right_ascension);
    k.deg("dec_deg", e.declination);
    k.deg("position_angle_deg", e.position_angle);
    pointing = e;
  } else {
    Horizontal h{Angle::deg(180), Angle::deg(45), Angle()};
    k.deg("azimuth_deg", h.azimuth);
    k.deg("altitude_deg", h.altitude);
    k.deg("roll_deg", h.roll);
    pointing = h;
  }
}

void read_time(Keys& k, Scene& s) {
  std::string start;
  k.text("first_start", start);
  if (!start.empty()) {
    const auto parsed = parse_time(start);
    if (!parsed) k.refuse("first_start", "a date and time such as 2026-10-09T20:15:00Z");
    s.first_start = UtcTime::from_calendar(parsed->calendar).plus_seconds(-parsed->zone_offset_s.value_or(0));
  }
  k.number("frames", s.frames);
  k.number("exposure_s", s.exposure_s);
  k.number("interval_s", s.interval_s);
  k.number("clock_error_s", s.clock_error_s);
}

void read_lens(Keys& k, Lens& l) {
  k.number("focal_mm", l.focal_mm);
  k.number("pitch_um", l.pitch_um);
  k.number("width_px", l.width_px);
  k.number("height_px", l.height_px);
  k.word<Projection>("projection", l.projection,
                     {{"rectilinear", Projection::rectilinear},
                      {"equidistant", Projection::equidistant},
                      {"equisolid", Projection::equisolid},
                      {"stereographic", Projection::stereographic}});
  k.number("k1", l.k1);
  k.number("k2", l.k2);
  k.number("principal_offset_x_px", l.principal_offset_px.x);
  k.number("principal_offset_y_px", l.principal_offset_px.y);
  k.flag("mirrored", l.mirrored);
  k.number("f_number", l.f_number);
}

void read_mount(Keys& k, Mount& m) {
  k.arcmin("altitude_error_arcmin", m.altitude_error);
  k.arcmin("azimuth_error_arcmin", m.azimuth_error);
  k.word<AboutPole>("about", m.about, {{"refracted", AboutPole::refracted}, {"true", AboutPole::true_pole}});
  k.word<double>(
      "tracking", m.rate_ratio,
      {{"sidereal", 1.0}, {"solar", 0.99727}, {"lunar", 0.9635}, {"half", 0.5}, {"stopped", 0.0}, {"reversed", -1.0}});
  k.number("rate_ratio", m.rate_ratio);
  k.tables("periodic", m.periodic, [](Keys& p, PeriodicError& e) {
    p.arcsec("amplitude_arcsec", e.amplitude);
    p.number("period_s", e.period_s);
    p.deg("phase_deg", e.phase);
  });
}

void read_misfortunes(Keys& k, Scene& s) {
  Sag sag;
  if (k.table("sag_per_minute", [&](Keys& t) { read_nudge(t, sag.per_minute); })) s.sag = sag;
  k.tables("swing", s.swings, [](Keys& t, Swing& e) {
    t.number("before_frame", e.before_frame);
    t.deg("turn_deg", e.turn);
  });
  k.tables("re_aim", s.re_aims, [](Keys& t, ReAim& e) {
    t.number("before_frame", e.before_frame);
    read_pointing(t, e.pointing);
  });
  k.tables("slip", s.slips, [](Keys& t, Slip& e) {
    t.number("at_s", e.at_s);
    read_nudge(t, e.nudge);
  });
  k.tables("gust", s.gusts, [](Keys& t, Gust& e) {
    t.number("at_s", e.at_s);
    t.number("frequency_hz", e.frequency_hz);
    t.number("decay_s", e.decay_s);
    read_nudge(t, e.nudge);
  });
  k.tables("settling", s.settlings, [](Keys& t, Settling& e) {
    t.number("at_s", e.at_s);
    t.number("decay_s", e.decay_s);
    read_nudge(t, e.nudge);
  });
}

}  // namespace

void read_scene(Keys& k, Scene& s) {
  k.table("site", [&](Keys& t) {
    t.deg("latitude_deg", s.site.latitude);
    t.deg("longitude_deg", s.site.longitude);
    t.number("height_m", s.site.height_m);
  });
  k.table("weather", [&](Keys& t) {
    t.number("pressure_hpa", s.weather.pressure_hpa);
    t.number("temperature_c", s.weather.temperature_c);
    t.number("relative_humidity", s.weather.relative_humidity);
    t.flag("refraction", s.weather.refraction);
  });
  k.table("time", [&](Keys& t) { read_time(t, s); });
  k.table("lens", [&](Keys& t) { read_lens(t, s.lens); });
  k.table("pointing", [&](Keys& t) { read_pointing(t, s.pointing); });
  k.table("mount", [&](Keys& t) { read_mount(t, s.mount); });
  read_misfortunes(k, s);
}

}  // namespace polewright::simulate
