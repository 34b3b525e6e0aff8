#include "report/json_parts.hpp"

namespace polewright {
namespace {

using report::Json;
using report::maybe;

Json drift_json(const std::optional<FieldDrift>& d) {
  if (!d) return nullptr;
  return {{"north_arcsec_per_min", d->north_arcsec_per_min},
          {"east_arcsec_per_min", d->east_arcsec_per_min},
          {"twist_arcsec_per_min", d->twist_arcsec_per_min},
          {"centre_px_per_min", d->centre_px_per_min},
          {"worst_px_per_min", d->worst_px_per_min}};
}

Json point(PixelPoint p) {
  return Json::array({p.x, p.y});
}

Json correction_json(const AlignReport& r) {
  if (!r.correction) return nullptr;
  const AxisCorrection& c = *r.correction;
  Json shift = nullptr;
  if (r.star_target)
    shift = {{"star", r.star_target->name},
             {"from_px", point(r.star_target->now)},
             {"after_altitude_px", point(r.star_target->after_altitude)},
             {"to_px", point(r.star_target->after_both)}};
  return {{"altitude",
           {{"turn", c.altitude_turn == AltitudeTurn::raise ? "raise" : "lower"},
            {"arcmin", c.altitude.arcmin()},
            {"screw_turns", maybe(c.altitude_screw_turns)}}},
          {"azimuth",
           {{"turn", c.azimuth_turn == AzimuthTurn::east ? "east" : "west"},
            {"hand", c.right_hand ? "right" : "left"},
            {"base_arcmin", c.azimuth_base.arcmin()},
            {"on_sky_arcmin", c.azimuth_on_sky.arcmin()},
            {"rim_mm", maybe(c.rim_mm)},
            {"screw_turns", maybe(c.azimuth_screw_turns)}}},
          {"star_shift", shift}};
}

Json exposure_json(const std::optional<ExposureAdvice>& e) {
  if (!e) return nullptr;
  return {{"tolerance_px", e->tolerance_px},
          {"planned_s", maybe(e->planned_s)},
          {"planned_trail_px", maybe(e->planned_trail_px)},
          {"planned_trail_after_px", maybe(e->planned_trail_after_px)},
          {"good_enough", maybe(e->good_enough)},
          {"longest_s", maybe(e->longest_s)},
          {"longest_after_s", maybe(e->longest_after_s)},
          {"longest_ground_s", maybe(e->longest_ground_s)},
          {"axis_trail_px", maybe(e->axis_trail_px)},
          {"rate_trail_px", maybe(e->rate_trail_px)},
          {"periodic_trail_px", maybe(e->periodic_trail_px)}};
}

Json adjustments_json(const MountSolution& m) {
  Json list = Json::array();
  for (const AxisChange& a : m.adjustments)
    list.push_back({{"before_frame", a.before_frame},
                    {"altitude_change_arcmin", a.altitude_change.arcmin()},
                    {"altitude_change_sigma_arcmin", a.altitude_sigma.arcmin()},
                    {"azimuth_change_arcmin", a.azimuth_change.arcmin()},
                    {"azimuth_change_sigma_arcmin", a.azimuth_sigma.arcmin()}});
  return list;
}

Json head_sag_json(const MountSolution& m) {
  if (!m.head_sag) return nullptr;
  return {{"axis_scatter_arcmin", m.head_sag->axis_scatter.arcmin()},
          {"axis_scatter_sigma_arcmin", m.head_sag->axis_scatter_sigma.arcmin()},
          {"sag_arcsec_per_min", m.head_sag->arcsec_per_min}};
}

Json causes_json(const std::vector<TrailCause>& causes) {
  Json list = Json::array();
  for (const TrailCause& c : causes)
    list.push_back(
        {{"cause", c.cause}, {"share", c.share}, {"trail_px_per_min", c.trail_px_per_min}, {"evidence", c.evidence}});
  return list;
}

}  // namespace

const char* to_text(AlignOutcome outcome) {
  switch (outcome) {
    case AlignOutcome::solved:
      return "solved";
    case AlignOutcome::axis_not_observable:
      return "axis_not_observable";
    case AlignOutcome::not_identified:
      return "not_identified";
    case AlignOutcome::too_few_stars:
      return "too_few_stars";
    case AlignOutcome::inconsistent:
      return "inconsistent";
  }
  return "";
}

std::string align_json(const AlignReport& r) {
  Json frames = Json::array();
  for (const FrameReport& f : r.frames) frames.push_back(report::frame_json(f));
  const bool solved = r.outcome == AlignOutcome::solved && r.mount;
  return report::dump({{"schema", "polewright/align/1"},
                       {"program", report::program_json()},
                       {"outcome", to_text(r.outcome)},
                       {"message", r.message},
                       {"site", report::site_json(r.site)},
                       {"optics", report::optics_json(r.optics)},
                       {"frames", frames},
                       {"axis", solved ? report::axis_json(*r.mount, r.reference_pole) : Json(nullptr)},
                       {"rate", r.mount ? report::rate_json(*r.mount) : Json(nullptr)},
                       {"drift", drift_json(r.drift)},
                       {"correction", correction_json(r)},
                       {"exposure", exposure_json(r.exposure)},
                       {"adjustments", r.mount ? adjustments_json(*r.mount) : Json::array()},
                       {"head_sag", r.mount ? head_sag_json(*r.mount) : Json(nullptr)},
                       {"causes", causes_json(r.causes)},
                       {"warnings", r.warnings}});
}

}  // namespace polewright
