#include "session/load.hpp"

#include <string_view>

namespace polewright::session {
namespace {

template <class T>
MaybeSourced<T> first_of(const MaybeSourced<T>& said, const MaybeSourced<T>& read) {
  return said ? said : read;
}

std::uint64_t hash_of(const std::vector<std::uint16_t>& pixels) {
  return std::hash<std::string_view>{}(
      {reinterpret_cast<const char*>(pixels.data()), pixels.size() * sizeof(std::uint16_t)});
}

}  // namespace

Optics optics_of(const Frame& frame, const SessionOptions& options) {
  return {first_of(options.focal_mm, frame.metadata.focal_length_mm),
          first_of(options.pitch_um, frame.metadata.pixel_pitch_um)};
}

MaybeSourced<Site> site_of(const Frame& frame, const SessionOptions& options) {
  return first_of(options.site, frame.metadata.site);
}

Weather weather_of(const Frame& frame, const SessionOptions& options) {
  Weather weather = options.weather;
  if (!weather.pressure_hpa && frame.metadata.air_pressure_hpa)
    weather.pressure_hpa = frame.metadata.air_pressure_hpa->value;
  if (frame.metadata.air_temperature_c) weather.temperature_c = frame.metadata.air_temperature_c->value;
  return weather;
}

Result<MeasuredFrame> load(const std::filesystem::path& path, const SessionOptions& options) {
  ReadOptions read;
  read.utc_offset_s = options.utc_offset_s;
  Result<Frame> frame = read_frame(path, read);
  if (!frame) return frame.error();

  StarOptions star_options;
  star_options.threads = options.threads;
  star_options.focal_px = optics_of(*frame, options).focal_px();
  Result<StarList> stars = find_stars(*frame, star_options);
  if (!stars) return stars.error();

  MeasuredFrame out;
  out.stars = std::move(*stars);
  out.content_hash = hash_of(frame->pixels);
  out.frame = std::move(*frame);
  std::vector<std::uint16_t>().swap(out.frame.pixels);
  const FrameMetadata& meta = out.frame.metadata;
  if (meta.mid_time) {
    out.time = meta.mid_time->value;
  } else if (meta.mid_local_time) {
    out.time = UtcTime::from_calendar(meta.mid_local_time->value);
    out.zone_known = false;
  }
  return out;
}

IdentifyHints hints_for(const MeasuredFrame& frame, const SessionOptions& options, const Identification* neighbour) {
  IdentifyHints hints;
  hints.focal_px = optics_of(frame.frame, options).focal_px();
  if (frame.frame.metadata.pointing) hints.centre = frame.frame.metadata.pointing->centre;
  if (neighbour) {
    hints.attitude = neighbour->camera_from_icrs;
    hints.lens = neighbour->lens;
  }
  if (frame.zone_known) {
    hints.time = frame.time;
    if (const auto site = site_of(frame.frame, options)) hints.site = site->value;
  }
  return hints;
}

void announce_sky_index(const Catalogue& catalogue, const Progress& progress) {
  if (progress && !sky_index_ready(catalogue)) progress("indexing the sky, this once", 0, 1);
}

}  // namespace polewright::session
