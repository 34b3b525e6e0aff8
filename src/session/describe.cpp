#include <cmath>

#include "polewright/sky.hpp"
#include "session/load.hpp"

namespace polewright::session {
namespace {

/// Position angle of the picture's upward direction (towards row 0) at its centre, from north through east.
double roll_of(const Identification& id, PixelPoint centre, Vec<Icrs> centre_direction) {
  const auto above = id.lens.unproject({centre.x, centre.y - 1.0});
  if (!above) return 0.0;
  const Vec<Icrs> up = id.camera_from_icrs.inverse() * *above - centre_direction;
  const Angle ra = right_ascension_of(centre_direction), dec = declination_of(centre_direction);
  const Vec<Icrs> east{-sin(ra), cos(ra), 0.0};
  const Vec<Icrs> north{-sin(dec) * cos(ra), -sin(dec) * sin(ra), cos(dec)};
  return Angle::rad(std::atan2(up.dot(east), up.dot(north))).wrapped_positive().deg();
}

void describe_pointing(const MeasuredFrame& m, const SessionOptions& options, FrameReport& out) {
  if (!m.identified || !m.identified->identification) return;
  const Identification& id = *m.identified->identification;
  out.stars_identified = static_cast<int>(id.matches.size());
  out.residual_rms_px = id.residual_rms_px;
  const PixelPoint centre{0.5 * (m.stars.width - 1), 0.5 * (m.stars.height - 1)};
  const auto forward = id.lens.unproject(centre);
  if (!forward) return;
  const Vec<Icrs> direction = id.camera_from_icrs.inverse() * *forward;
  out.centre_ra_deg = right_ascension_of(direction).deg();
  out.centre_dec_deg = declination_of(direction).deg();
  out.roll_deg = roll_of(id, centre, direction);
  const auto site = site_of(m.frame, options);
  if (!site || !m.time || !m.zone_known) return;
  const Vec<Enu> seen = SkyAt(*m.time, site->value, weather_of(m.frame, options)).observed(direction);
  out.centre_altitude_deg = altitude_of(seen).deg();
  out.centre_azimuth_deg = azimuth_of(seen).deg();
}

}  // namespace

FrameReport describe(const MeasuredFrame& m, const SessionOptions& options) {
  FrameReport out;
  out.file = m.frame.path.string();
  const FrameMetadata& meta = m.frame.metadata;
  if (meta.mid_time) {
    out.mid_time = meta.mid_time->value;
    out.time_source = meta.mid_time->source;
  } else if (meta.mid_local_time) {
    out.time_source = meta.mid_local_time->source + ", no zone";
  }
  if (meta.exposure_s) out.exposure_s = meta.exposure_s->value;
  out.width_px = m.stars.width;
  out.height_px = m.stars.height;
  out.stars_detected = static_cast<int>(m.stars.stars.size());
  if (!m.stars.stars.empty()) {
    out.fwhm_px = m.stars.fwhm_px;
    out.trail_px = m.stars.trail_px;
    out.trail_sigma_px = m.stars.trail_sigma_px;
    out.trail_angle_deg = m.stars.trail_angle_deg;
  }
  out.flags = m.stars.flags;
  describe_pointing(m, options, out);
  return out;
}

OpticsReport describe_optics(const Optics& optics, const LensModel* lens) {
  OpticsReport out;
  if (optics.pitch_um) out.pitch_um = optics.pitch_um->value;
  if (optics.focal_mm) out.focal_mm = optics.focal_mm->value;
  out.focal_px = optics.focal_px();
  if (lens) {
    out.focal_px = lens->focal_px;
    out.mirrored = lens->mirrored;
    out.k1 = lens->k1;
    out.k2 = lens->k2;
    if (out.pitch_um) out.focal_mm = lens->focal_px * *out.pitch_um / 1000.0;
  }
  if (out.focal_px) out.scale_arcsec_per_px = Angle::rad(1.0 / *out.focal_px).arcsec();
  return out;
}

}  // namespace polewright::session
