#include "session/align_problem.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::session {
namespace {

MountFrame mount_frame(const MeasuredFrame& m) {
  const Identification& id = *m.identified->identification;
  MountFrame out;
  out.name = m.frame.path.filename().string();
  out.mid_time = *m.time;
  // The header's figure is for the difference of two stamps; the fit takes one frame's share of it.
  out.mid_time_sigma_s = m.frame.metadata.mid_time_sigma_s / std::numbers::sqrt2;
  out.exposure_s = m.frame.metadata.exposure_s ? m.frame.metadata.exposure_s->value : 0.0;
  out.width_px = m.stars.width;
  out.height_px = m.stars.height;
  out.camera_from_icrs = id.camera_from_icrs;
  out.lens = id.lens;
  for (const StarMatch& match : id.matches) {
    const Star& star = m.stars.stars[match.star];
    out.stars.push_back({star.position, star.position_cov, match.direction, match.catalogue});
  }
  return out;
}

std::string what_is_missing(const std::vector<MeasuredFrame>& frames, bool has_site) {
  const bool zone = std::all_of(frames.begin(), frames.end(), [](const auto& f) { return f.zone_known; });
  std::string text;
  if (!has_site) text += "the frames carry no place; give --site LAT,LON (for example --site 46.55,7.98)";
  if (!zone)
    text += std::string(text.empty() ? "" : ", and ") +
            "the camera clock carries no zone; give --utc-offset ±HH:MM (for example --utc-offset +02:00)";
  return text.empty() ? text : text + ".";
}

}  // namespace

AlignProblem build_problem(const std::vector<MeasuredFrame>& frames, const SessionOptions& options) {
  AlignProblem out;
  MountProblem& p = out.problem;
  for (const MeasuredFrame& m : frames)
    if (m.time && m.identified->identification) p.frames.push_back(mount_frame(m));
  std::stable_sort(p.frames.begin(), p.frames.end(),
                   [](const auto& a, const auto& b) { return a.mid_time < b.mid_time; });
  if (p.frames.size() < 2) {
    out.missing =
        "Fewer than two of the frames carry a time, so nothing can be said about the motion between them; use "
        "files that keep their date and time.";
    return out;
  }
  const auto site = site_of(frames.front().frame, options);
  p.reference_pole = options.pole;
  p.weather = weather_of(frames.front().frame, options);
  out.missing = what_is_missing(frames, site.has_value());
  if (out.missing.empty()) {
    p.site = site->value;
    return out;
  }
  p.site.latitude = Angle::deg(90.0);
  p.weather.refraction = false;
  p.reference_pole = ReferencePole::true_pole;
  p.clock_sigma_s = 0.0;
  p.site_sigma = Angle();
  return out;
}

}  // namespace polewright::session
