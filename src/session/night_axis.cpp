#include "session/night_axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "session/align_problem.hpp"
#include "session/load.hpp"
#include "session/night_identified.hpp"

namespace polewright::session {
namespace {

/// Frames worth identifying: placed (so not clouded over or smeared beyond recognition), spread evenly over the time.
std::vector<std::size_t> chosen(const NightSequence& s, const std::vector<NightFile>& files, std::size_t most) {
  std::vector<std::size_t> good;
  for (std::size_t k = 0; k < s.files.size(); ++k)
    if (s.places[k] && files[s.files[k]].record->stars.size() >= 8) good.push_back(s.files[k]);
  if (good.size() <= most || most < 2) return good;
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < most; ++i) out.push_back(good[i * (good.size() - 1) / (most - 1)]);
  return out;
}

/// This many failures mean that the catalogue hardly reaches these stars; trying every frame would take minutes.
constexpr int kPatience = 3;
constexpr double kTimeLimit_s = 5.0;

std::vector<MeasuredFrame> identify_some(const std::vector<std::size_t>& which, const std::vector<NightFile>& files,
                                         const Catalogue& catalogue, const CheckOptions& options,
                                         const Progress& progress, NightCache* cache, std::string& message) {
  std::vector<MeasuredFrame> out;
  std::optional<Identification> neighbour;
  IdentifyOptions how;
  how.time_limit_s = kTimeLimit_s;
  int failures = 0;
  if (!which.empty()) announce_sky_index(catalogue, progress);
  for (std::size_t i = 0; i < which.size() && failures < kPatience; ++i) {
    if (options.stop && options.stop()) break;
    if (progress) progress("identifying stars", i, which.size());
    MeasuredFrame m = measured_of(*files[which[i]].record, files[which[i]].input.file, options.session);
    m.identified = identify_remembered(*files[which[i]].record, m.stars, catalogue,
                                       hints_for(m, options.session, neighbour ? &*neighbour : nullptr), how, cache);
    if (!m.identified->identification) {
      if (message.empty()) message = m.identified->message;
      ++failures;
      continue;
    }
    neighbour = m.identified->identification;
    failures = 0;
    out.push_back(std::move(m));
  }
  return out;
}

/// Where the sky's pole of turn stands in the camera: refracted when the site is known, else that of the catalogue.
void find_pole(const MeasuredFrame& first, const SessionOptions& options, NightAxis& out) {
  const Identification& id = *first.identified->identification;
  const auto site = site_of(first.frame, options);
  Vec<Icrs> pole{0.0, 0.0, 1.0};
  if (site && first.time && first.zone_known) {
    const Weather weather = weather_of(first.frame, options);
    pole = SkyAt(*first.time, site->value, weather).icrs(visible_pole(site->value, weather, options.pole));
    out.hemisphere = hemisphere_sign(site->value);
  }
  out.pole = id.camera_from_icrs * pole;
  out.lens = id.lens;
  if (const auto forward = id.lens.unproject({0.5 * (first.stars.width - 1), 0.5 * (first.stars.height - 1)}))
    out.centre = id.camera_from_icrs.inverse() * *forward;
}

void solve_axis(NightAxis& axis, double after_s, const CheckOptions& options, const Progress& progress) {
  axis.message.clear();
  axis.mount.reset();
  axis.bend.reset();
  std::vector<MeasuredFrame> frames;
  for (const MeasuredFrame& m : axis.frames)
    if (after_s <= 0.0 ||
        (m.time && axis.frames.front().time && m.time->seconds_since(*axis.frames.front().time) >= after_s))
      frames.push_back(m);
  if (frames.size() < 2) {
    axis.message = after_s > 0.0 ? "the mount was still coming to rest on the frames whose stars were identified"
                                 : "only one frame's stars could be identified";
    return;
  }
  const AlignProblem built = build_problem(frames, options.session);
  axis.problem = built.problem;
  if (built.problem.frames.size() < 2) {
    axis.message = built.missing;
    return;
  }
  if (progress) progress("fitting the axis", 0, 1);
  MountOptions mount_options;
  mount_options.threads = options.session.threads;
  NightMount night = solve_night(built.problem, mount_options);
  axis.mount = std::move(night.mount);
  axis.bend = night.bend;
  if (!built.missing.empty())
    axis.message = built.missing;
  else if (axis.mount->outcome != MountOutcome::solved)
    axis.message = axis.mount->message;
}

}  // namespace

NightAxis find_axis(const NightSequence& sequence, const std::vector<NightFile>& files, const Catalogue& catalogue,
                    const CheckOptions& options, const Progress& progress, NightCache* cache) {
  NightAxis out;
  const std::vector<std::size_t> which = chosen(sequence, files, options.most_identified);
  if (which.empty()) {
    out.message = "no frame shows enough stars to identify";
    return out;
  }
  out.frames = identify_some(which, files, catalogue, options, progress, cache, out.message);
  out.identified = out.frames.size();
  if (out.frames.empty()) return out;
  find_pole(out.frames.front(), options.session, out);
  solve_axis(out, 0.0, options, progress);
  return out;
}

void solve_settled(NightAxis& axis, const Settling& settling, const CheckOptions& options, const Progress& progress) {
  constexpr double kDecays = 4.0;
  solve_axis(axis, kDecays * settling.decay_s, options, progress);
  if (!axis.mount || axis.mount->outcome != MountOutcome::solved) return;
  const std::vector<MountFrame>& frames = axis.problem.frames;
  const double span_s = frames.back().mid_time.seconds_since(frames.front().mid_time);
  const double left_rad = std::hypot(settling.x_px, settling.y_px) * std::exp(-kDecays) / axis.mount->lens.focal_px;
  // Of the axis in any direction, hence half of the square along each.
  allow_for_drift(*axis.mount, Angle::rad(left_rad / (kSiderealRate_rad_per_s * span_s) / std::numbers::sqrt2));
}

std::optional<std::string> bend_note(const NightAxis& axis, const NightDiagnosis& night) {
  if (!axis.bend || !night.steps.empty() || night.settling) return {};
  // A widening that changes nothing one would do needs no word.
  const Angle now = axis.mount->total_sigma;
  if (now < axis.bend->sigma_before * 1.5 || now < axis.mount->total_error * 0.1 || now.arcmin() < 0.5) return {};
  return fmt::format(
      "beside its turn about the axis the camera gave way slowly, by {:.1f} px (head, tripod or tube); part of that "
      "may pass for an axis error, so the axis is stated to ± {:.1f}′ instead of ± {:.1f}′. Tighten head and tripod",
      axis.bend->departure_px, now.arcmin(), axis.bend->sigma_before.arcmin());
}

}  // namespace polewright::session
