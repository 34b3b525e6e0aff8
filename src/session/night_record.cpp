#include "session/night_record.hpp"

#include <algorithm>
#include <cmath>

#include "session/night_double.hpp"
#include "session/night_tilt.hpp"

namespace polewright::session {
namespace {

std::uint32_t bits_of(const StarFlags& f) {
  const bool all[] = {f.saturated, f.blended,    f.edge,   f.hot_pixel, f.cosmic_ray,
                      f.streak,    f.foreground, f.column, f.too_large, f.fit_failed};
  std::uint32_t bits = 0;
  for (std::size_t i = 0; i < std::size(all); ++i) bits |= all[i] ? 1u << i : 0u;
  return bits;
}

StarFlags flags_of(std::uint32_t bits) {
  const auto bit = [&](int i) { return (bits >> i & 1u) != 0; };
  return {bit(0), bit(1), bit(2), bit(3), bit(4), bit(5), bit(6), bit(7), bit(8), bit(9)};
}

StarRecord star_record(const Star& s) {
  const auto f = [](double v) { return static_cast<float>(v); };
  return {f(s.position.x),      f(s.position.y), f(s.position_cov.xx), f(s.position_cov.xy),
          f(s.position_cov.yy), f(s.flux),       f(s.flux_sigma),      f(s.snr),
          f(s.moments.xx),      f(s.moments.xy), f(s.moments.yy),      f(s.fwhm_px),
          f(s.trail_x_px),      f(s.trail_y_px), bits_of(s.flags)};
}

double median_of(std::vector<double> v) {
  if (v.empty()) return 0.0;
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

/// Long over short axis of the typical image.
double elongation_of(const std::vector<Star>& stars) {
  std::vector<double> xx, xy, yy;
  for (const Star& s : stars) {
    if (!s.flags.usable() || s.flags.saturated || s.flags.blended || s.snr < 20.0) continue;
    xx.push_back(s.moments.xx);
    xy.push_back(s.moments.xy);
    yy.push_back(s.moments.yy);
  }
  const double a = median_of(xx), b = median_of(xy), c = median_of(yy);
  const double middle = 0.5 * (a + c), half = std::hypot(0.5 * (a - c), b);
  return middle > half && middle > 0.0 ? std::sqrt((middle + half) / (middle - half)) : 1.0;
}

}  // namespace

FrameRecord record_of(const Frame& frame, const StarList& stars, const RecordOptions& options) {
  FrameRecord r;
  r.metadata = frame.metadata;
  r.kind = frame.kind;
  r.mosaic = frame.mosaic;
  r.width = frame.width;
  r.height = frame.height;
  r.sky_level = stars.sky_level;
  r.sky_noise = stars.sky_noise;
  r.psf_sigma_px = stars.psf_sigma_px;
  r.fwhm_px = stars.fwhm_px;
  r.trail_px = stars.trail_px;
  r.trail_sigma_px = stars.trail_sigma_px;
  r.trail_angle_deg = stars.trail_angle_deg;
  r.field = stars.trail_field;
  r.field.rotation.reset();
  r.flags = stars.flags;
  r.elongation = elongation_of(stars.stars);
  r.doubled_px = doubled_by(stars);
  const TiltMeasure tilt = tilt_of(stars);
  r.tilt_px = tilt.growth_px;
  r.tilt_sigma_px = tilt.sigma_px;
  for (const Star& s : stars.stars) {
    if (!s.flags.usable()) continue;
    ++r.stars_usable;
    if (r.stars.size() < options.most_stars) r.stars.push_back(star_record(s));
  }
  return r;
}

Result<FrameRecord> record_of(const Frame& frame, const RecordOptions& options) {
  StarOptions star_options;
  star_options.threads = 1;
  star_options.max_fitted = options.most_fitted;
  star_options.max_saturated_fitted = options.most_saturated;
  star_options.max_stars = options.most_found;
  star_options.enough_stars = static_cast<int>(options.most_stars);
  const Result<StarList> stars = find_stars(frame, star_options);
  if (!stars) return stars.error();
  return record_of(frame, *stars, options);
}

Result<FrameRecord> measure_frame(const std::filesystem::path& path, const RecordOptions& options,
                                  std::vector<std::uint16_t>* memory, const std::function<void(const Frame&)>& look) {
  ReadOptions read;
  read.memory = memory;
  Result<Frame> frame = read_frame(path, read);
  if (!frame) return frame.error();
  Result<FrameRecord> record = record_of(*frame, options);
  if (look) look(*frame);
  if (memory) memory->swap(frame->pixels);
  return record;
}

StarList star_list_of(const FrameRecord& r) {
  StarList out;
  out.width = r.width;
  out.height = r.height;
  out.sky_level = r.sky_level;
  out.sky_noise = r.sky_noise;
  out.psf_sigma_px = r.psf_sigma_px;
  out.fwhm_px = r.fwhm_px;
  out.trail_px = r.trail_px;
  out.trail_sigma_px = r.trail_sigma_px;
  out.trail_angle_deg = r.trail_angle_deg;
  out.trail_field = r.field;
  out.flags = r.flags;
  out.stars.reserve(r.stars.size());
  for (const StarRecord& s : r.stars) {
    Star star;
    star.position = {s.x, s.y};
    star.position_cov = {s.cov_xx, s.cov_xy, s.cov_yy};
    star.flux = s.flux;
    star.flux_sigma = s.flux_sigma;
    star.snr = s.snr;
    star.moments = {s.moment_xx, s.moment_xy, s.moment_yy};
    star.fwhm_px = s.fwhm;
    star.trail_x_px = s.trail_x;
    star.trail_y_px = s.trail_y;
    star.flags = flags_of(s.flags);
    out.stars.push_back(star);
  }
  return out;
}

std::optional<ClockTime> clock_time_of(const FrameRecord& r, const SessionOptions& options) {
  if (r.metadata.mid_time) return ClockTime{r.metadata.mid_time->value, true};
  if (!r.metadata.mid_local_time) return {};
  const UtcTime local = UtcTime::from_calendar(r.metadata.mid_local_time->value);
  if (!options.utc_offset_s) return ClockTime{local, false};
  return ClockTime{local.plus_seconds(-*options.utc_offset_s), true};
}

MeasuredFrame measured_of(const FrameRecord& r, const std::filesystem::path& path, const SessionOptions& options) {
  MeasuredFrame m;
  m.frame.path = path;
  m.frame.kind = r.kind;
  m.frame.width = r.width;
  m.frame.height = r.height;
  m.frame.mosaic = r.mosaic;
  m.frame.metadata = r.metadata;
  m.stars = star_list_of(r);
  if (const auto clock = clock_time_of(r, options)) {
    m.time = clock->time;
    m.zone_known = clock->zone_known;
  }
  return m;
}

}  // namespace polewright::session
