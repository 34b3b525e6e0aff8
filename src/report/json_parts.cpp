#include "report/json_parts.hpp"

namespace polewright {

const char* program_version() {
  return POLEWRIGHT_VERSION;
}

namespace report {

Json program_json() {
  return {{"name", "polewright"}, {"version", program_version()}};
}

Json frame_json(const FrameReport& f) {
  return {{"file", f.file},
          {"mid_time_utc", f.mid_time ? Json(f.mid_time->iso()) : Json(nullptr)},
          {"time_source", f.time_source.empty() ? Json(nullptr) : Json(f.time_source)},
          {"exposure_s", maybe(f.exposure_s)},
          {"width_px", f.width_px},
          {"height_px", f.height_px},
          {"stars_detected", f.stars_detected},
          {"stars_identified", f.stars_identified},
          {"centre_ra_deg", maybe(f.centre_ra_deg)},
          {"centre_dec_deg", maybe(f.centre_dec_deg)},
          {"centre_altitude_deg", maybe(f.centre_altitude_deg)},
          {"centre_azimuth_deg", maybe(f.centre_azimuth_deg)},
          {"roll_deg", maybe(f.roll_deg)},
          {"residual_rms_px", maybe(f.residual_rms_px)},
          {"fwhm_px", maybe(f.fwhm_px)},
          {"trail_px", maybe(f.trail_px)},
          {"trail_sigma_px", maybe(f.trail_sigma_px)},
          {"trail_angle_deg", maybe(f.trail_angle_deg)},
          {"flags", f.flags}};
}

Json optics_json(const OpticsReport& o) {
  return {{"focal_px", maybe(o.focal_px)}, {"focal_mm", maybe(o.focal_mm)},
          {"pitch_um", maybe(o.pitch_um)}, {"scale_arcsec_per_px", maybe(o.scale_arcsec_per_px)},
          {"mirrored", maybe(o.mirrored)}, {"distortion", o.k1 ? Json::array({*o.k1, *o.k2}) : Json(nullptr)}};
}

Json site_json(const std::optional<SiteReport>& s) {
  if (!s) return nullptr;
  return {{"latitude_deg", s->site.latitude.deg()},
          {"longitude_deg", s->site.longitude.deg()},
          {"height_m", s->site.height_m},
          {"source", s->source}};
}

Json axis_json(const MountSolution& m, ReferencePole pole) {
  const Covariance2& c = m.on_sky_cov_arcmin2;
  return {{"altitude_deg", altitude_of(m.axis).deg()},
          {"azimuth_deg", azimuth_of(m.axis).deg()},
          {"altitude_error_arcmin", m.altitude_error.arcmin()},
          {"altitude_error_sigma_arcmin", m.altitude_sigma.arcmin()},
          {"azimuth_error_arcmin", m.azimuth_error.arcmin()},
          {"azimuth_error_sigma_arcmin", m.azimuth_sigma.arcmin()},
          {"azimuth_error_on_sky_arcmin", m.azimuth_error_on_sky.arcmin()},
          {"azimuth_error_on_sky_sigma_arcmin", m.azimuth_on_sky_sigma.arcmin()},
          {"total_error_arcmin", m.total_error.arcmin()},
          {"total_error_sigma_arcmin", m.total_sigma.arcmin()},
          {"covariance_on_sky_arcmin2", Json::array({Json::array({c.xx, c.xy}), Json::array({c.xy, c.yy})})},
          {"reference_pole", pole == ReferencePole::refracted ? "refracted" : "true"}};
}

Json rate_json(const MountSolution& m) {
  if (!m.rate_ratio) return nullptr;
  return {{"ratio", *m.rate_ratio}, {"ratio_sigma", m.rate_sigma}, {"matches", to_text(m.rate_match)}};
}

std::string dump(const Json& json) {
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace report
}  // namespace polewright
