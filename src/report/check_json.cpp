#include <cmath>

#include "polewright/advise.hpp"
#include "polewright/check.hpp"
#include "report/json_parts.hpp"

namespace polewright {
namespace {

using namespace report;

Json finite(const std::optional<double>& v) {
  return v && std::isfinite(*v) ? Json(*v) : Json(nullptr);
}
Json text_or_null(const std::string& text) {
  return text.empty() ? Json(nullptr) : Json(text);
}

Json frame_json(const CheckFrame& f) {
  const FrameFinding& found = f.finding;
  return {{"file", f.file},
          {"companions", f.companions},
          {"sequence", f.readable ? Json(f.sequence) : Json(nullptr)},
          {"mid_time_utc", f.mid_time ? Json(f.mid_time->iso()) : Json(nullptr)},
          {"exposure_s", maybe(f.exposure_s)},
          {"verdict", to_text(found.verdict)},
          {"cause", maybe(found.cause)},
          {"why", text_or_null(found.why)},
          {"trail_px", finite(found.trail_px)},
          {"trail_sigma_px", finite(found.trail_sigma_px)},
          {"trail_angle_deg", finite(found.trail_angle_deg)},
          {"trail_arcsec", finite(f.trail_arcsec)},
          {"trail_sigma_arcsec", finite(f.trail_sigma_arcsec)},
          {"trail_from_sequence", found.trail_from_sequence},
          {"elongation", finite(f.elongation)},
          {"fwhm_px", finite(f.fwhm_px)},
          {"stars", f.stars},
          {"stars_expected", finite(f.stars_expected)},
          {"sky_adu", finite(f.sky_adu)},
          {"dimming_mag", finite(f.dimming_mag)},
          {"shift_px", f.place ? Json::array({f.place->x_px, f.place->y_px}) : Json(nullptr)},
          {"shift_sigma_px", f.place ? Json(f.place->sigma_px) : Json(nullptr)},
          {"roll_arcmin", f.place ? Json(Angle::rad(f.place->roll_rad).arcmin()) : Json(nullptr)},
          {"roll_sigma_arcmin", f.place ? Json(Angle::rad(f.place->roll_sigma_rad).arcmin()) : Json(nullptr)},
          {"flags", f.flags}};
}

Json periodic_json(const PeriodicTerm& p) {
  return {{"amplitude_arcsec", maybe(p.amplitude_arcsec)},
          {"amplitude_sigma_arcsec", maybe(p.amplitude_sigma_arcsec)},
          {"amplitude_px", p.amplitude_px},
          {"amplitude_sigma_px", p.amplitude_sigma_px},
          {"period_s", p.period_s},
          {"period_sigma_s", p.period_sigma_s},
          {"significance", p.significance},
          {"false_alarm_probability", p.false_alarm},
          {"cycles", p.cycles}};
}

Json drift_json(const std::optional<SteadyDrift>& d) {
  if (!d) return nullptr;
  return {{"x_px_per_min", d->x_px_per_min},
          {"y_px_per_min", d->y_px_per_min},
          {"roll_arcmin_per_min", d->roll_arcmin_per_min},
          {"centre_px_per_min", d->centre_px_per_min},
          {"centre_sigma_px_per_min", d->centre_sigma_px_per_min},
          {"worst_px_per_min", d->worst_px_per_min},
          {"turn_ratio", maybe(d->turn_ratio)},
          {"turn_ratio_sigma", maybe(d->turn_ratio_sigma)}};
}

Json steps_json(const CheckReport& r, const CheckSequence& s) {
  Json list = Json::array();
  for (const NightStep& step : s.diagnosis.steps)
    list.push_back({{"after_file", r.frames[s.frames[step.after_frame]].file},
                    {"shift_px", {step.x_px, step.y_px}},
                    {"shift_sigma_px", step.sigma_px},
                    {"roll_arcmin", step.roll_arcmin},
                    {"kind", step.kind == StepKind::slip ? "slip" : "re-aimed"}});
  return list;
}

Json causes_json(const std::vector<NightCause>& causes) {
  Json list = Json::array();
  for (const NightCause& c : causes) {
    const std::string remedy(remedy_for(c.cause));
    list.push_back({{"cause", c.cause},
                    {"share", c.share},
                    {"trail_px", c.trail_px},
                    {"frames", c.frames},
                    {"bic_gain", c.bic_gain},
                    {"evidence", c.evidence},
                    {"remedy", remedy.empty() ? Json(nullptr) : Json(remedy)}});
  }
  return list;
}

Json correction_json(const std::optional<AxisCorrection>& c) {
  if (!c) return nullptr;
  return {{"altitude",
           {{"turn", c->altitude_turn == AltitudeTurn::raise ? "raise" : "lower"}, {"arcmin", c->altitude.arcmin()}}},
          {"azimuth",
           {{"turn", c->azimuth_turn == AzimuthTurn::east ? "east" : "west"},
            {"base_arcmin", c->azimuth_base.arcmin()},
            {"on_sky_arcmin", c->azimuth_on_sky.arcmin()}}}};
}

Json sequence_json(const CheckReport& r, const CheckSequence& s) {
  const NightDiagnosis& d = s.diagnosis;
  const bool solved = s.mount && s.mount->outcome == MountOutcome::solved && s.mount_message.empty();
  Json harmonics = Json::array();
  for (std::size_t i = 1; i < d.periodic.size(); ++i) harmonics.push_back(periodic_json(d.periodic[i]));
  Json settling = nullptr;
  if (d.settling) settling = {{"shift_px", {d.settling->x_px, d.settling->y_px}}, {"decay_s", d.settling->decay_s}};
  return {{"camera", text_or_null(s.camera)},
          {"exposure_s", maybe(s.exposure_s)},
          {"centre_ra_deg", maybe(s.centre_ra_deg)},
          {"centre_dec_deg", maybe(s.centre_dec_deg)},
          {"frames", s.frames.size()},
          {"frames_identified", s.frames_identified},
          {"optics", optics_json(s.optics)},
          {"site", site_json(s.site)},
          {"drift_px_per_min", d.drift ? Json(d.drift->worst_px_per_min) : Json(nullptr)},
          {"drift", drift_json(d.drift)},
          {"axis", solved ? axis_json(*s.mount, r.reference_pole) : Json(nullptr)},
          {"axis_message", text_or_null(s.mount_message)},
          {"rate", s.mount ? rate_json(*s.mount) : Json(nullptr)},
          {"correction", correction_json(s.correction)},
          {"periodic_error", d.periodic.empty() ? Json(nullptr) : periodic_json(d.periodic.front())},
          {"further_periods", harmonics},
          {"settling", settling},
          {"steps", steps_json(r, s)},
          {"wander_px", d.wander_px},
          {"causes", causes_json(d.causes)},
          {"longest_sharp_s", maybe(d.longest_sharp_s)},
          {"trailed_saved_by_longest_sharp", maybe(d.saved_by_longest)},
          {"trailed_saved_by_half_exposure", maybe(d.saved_by_half)},
          {"notes", d.notes}};
}

}  // namespace

std::string check_json(const CheckReport& r) {
  Json frames = Json::array(), sequences = Json::array();
  for (const CheckFrame& f : r.frames) frames.push_back(frame_json(f));
  for (const CheckSequence& s : r.sequences) sequences.push_back(sequence_json(r, s));
  const Json main = sequences.empty() ? Json(nullptr) : sequences.front();
  return dump({{"schema", "polewright/check/1"},
               {"program", program_json()},
               {"tolerance_px", r.tolerance_px},
               {"frames", frames},
               {"sequence", main},
               {"sequences", sequences},
               {"summary",
                {{"frames", r.frames.size()},
                 {"sharp", r.count(Verdict::sharp)},
                 {"soft", r.count(Verdict::soft)},
                 {"trailed", r.count(Verdict::trailed)},
                 {"unusable", r.count(Verdict::unusable)}}},
               {"warnings", r.warnings}});
}

}  // namespace polewright
