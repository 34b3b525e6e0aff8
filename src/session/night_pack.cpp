// Records as bytes for the cache. One list of fields serves both directions, so that they cannot drift apart.
#include <cstring>
#include <memory>

#include "session/night_hash.hpp"
#include "session/night_record.hpp"

namespace polewright::session {
namespace {

class Writer {
 public:
  template <class T>
  requires std::is_trivially_copyable_v<T>
  void operator()(const T& v) { bytes_.append(reinterpret_cast<const char*>(&v), sizeof v); }
  void operator()(const std::string& v) {
    (*this)(static_cast<std::uint32_t>(v.size()));
    bytes_ += v;
  }
  template <class T>
  void operator()(const std::vector<T>& v) {
    (*this)(static_cast<std::uint32_t>(v.size()));
    for (const T& item : v) (*this)(item);
  }
  template <class T>
  void optional(const std::optional<T>& v) {
    (*this)(static_cast<std::uint8_t>(v.has_value()));
    if (v) fields(*v);
  }
  template <class T>
  void fields(const T& v) {
    visit(*this, v);
  }
  std::string bytes_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_(bytes) {}

  template <class T>
  requires std::is_trivially_copyable_v<T>
  void operator()(T& v) {
    if (const char* from = take(sizeof v)) std::memcpy(&v, from, sizeof v);
  }
  void operator()(std::string& v) {
    const std::size_t n = length(1);
    if (const char* from = take(n)) v.assign(from, n);
  }
  template <class T>
  void operator()(std::vector<T>& v) {
    v.resize(length(std::is_trivially_copyable_v<T> ? sizeof(T) : 4));
    for (T& item : v) (*this)(item);
  }
  template <class T>
  void optional(std::optional<T>& v) {
    std::uint8_t has = 0;
    (*this)(has);
    v.reset();
    if (has != 0 && good_) visit(*this, v.emplace());
  }
  [[nodiscard]] bool complete() const { return good_ && bytes_.empty(); }

 private:
  const char* take(std::size_t n) {
    if (!good_ || n > bytes_.size()) {
      good_ = false;
      return nullptr;
    }
    const char* from = bytes_.data();
    bytes_.remove_prefix(n);
    return from;
  }
  /// A count that the bytes left can hold.
  std::size_t length(std::size_t item_size) {
    std::uint32_t n = 0;
    (*this)(n);
    if (good_ && static_cast<std::size_t>(n) * item_size <= bytes_.size()) return n;
    good_ = false;
    return 0;
  }
  std::string_view bytes_;
  bool good_ = true;
};

template <class Io, class T>
requires std::is_trivially_copyable_v<std::remove_const_t<T>>
void visit(Io& io, T& v) {
  io(v);
}
template <class Io, class S>
requires requires(S s) {
  s.source;
  s.value;
}
void visit(Io& io, S& s) {
  io(s.value);
  io(s.source);
}
template <class Io, class S>
requires requires(S s) {
  s.source;
  s.centre;
}
void visit(Io& io, S& s) {
  io(s.centre);
  io(s.source);
}

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
  const std::uint64_t check = hash_bytes(out.bytes_);
  out(check);
  return std::move(out.bytes_);
}

std::optional<FrameRecord> unpack(std::string_view bytes) {
  std::uint64_t check = 0;
  if (bytes.size() < sizeof check) return {};
  std::memcpy(&check, bytes.data() + bytes.size() - sizeof check, sizeof check);
  bytes.remove_suffix(sizeof check);
  if (hash_bytes(bytes) != check) return {};
  Reader in(bytes);
  auto record = std::make_unique<FrameRecord>();
  visit_record(in, *record);
  if (!in.complete()) return {};
  return std::move(*record);
}

}  // namespace polewright::session
