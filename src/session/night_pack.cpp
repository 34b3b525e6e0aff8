// Records as bytes for the cache. One list of fields serves both directions, so that they cannot drift apart.
#include <memory>

#include "session/night_bytes.hpp"
#include "session/night_record.hpp"

namespace polewright::session {
namespace {

template <class Io, class Metadata>
void visit_metadata(Io& io, Metadata& m) {
  io.optional(m.exposure_s);
  io.optional(m.mid_time);
  io(m.mid_time_sigma_s);
  io.optional(m.mid_local_time);
  io.optional(m.site);
  io.optional(m.focal_length_mm);
  io.optional(m.pixel_pitch_um);
  io.optional(m.sensor_width_mm);
  io.optional(m.scale_arcsec_per_px);
  io.optional(m.pointing);
  io(m.camera);
  io(m.lens);
  io(m.object);
  io.optional(m.f_number);
  io.optional(m.iso);
  io.optional(m.sensor_temperature_c);
  io.optional(m.air_pressure_hpa);
  io.optional(m.air_temperature_c);
  io(m.warnings);
}

template <class Io, class Field>
void visit_field(Io& io, Field& f) {
  io(f.centre_trail_x_px);
  io(f.centre_trail_y_px);
  io(f.centre_trail_cov);
  io(f.twist_px_at_corner);
  io(f.worst_trail_px);
  io(f.worst_trail_sigma_px);
  io(f.aberration_px);
  io(f.significance);
}

template <class Io, class Record>
void visit_record(Io& io, Record& r) {
  visit_metadata(io, r.metadata);
  io(r.kind);
  io(r.mosaic);
  io(r.width);
  io(r.height);
  io(r.stars_usable);
  io(r.sky_level);
  io(r.sky_noise);
  io(r.psf_sigma_px);
  io(r.fwhm_px);
  io(r.trail_px);
  io(r.trail_sigma_px);
  io(r.trail_angle_deg);
  visit_field(io, r.field);
  io(r.tilt_px);
  io(r.tilt_sigma_px);
  io(r.elongation);
  io.optional(r.doubled_px);
  io(r.flags);
  io(r.stars);
}

}  // namespace

std::string pack(const FrameRecord& record) {
  Writer out;
  visit_record(out, record);
  return sealed(std::move(out));
}

std::optional<FrameRecord> unpack(std::string_view bytes) {
  auto in = opened(bytes);
  if (!in) return {};
  auto record = std::make_unique<FrameRecord>();
  visit_record(*in, *record);
  if (!in->complete()) return {};
  return std::move(*record);
}

}  // namespace polewright::session
