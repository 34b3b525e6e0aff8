#include "session/page_evidence.hpp"

#include <algorithm>
#include <cmath>

#include "polewright/sky.hpp"
#include "session/field_course.hpp"
#include "session/page_pictures.hpp"

namespace polewright::session {
namespace {

constexpr std::size_t kMostMarks = 5000;  // a frame holds no more that an eye could tell apart

/// What rules a star out comes first.
std::string flags_in_words(const StarFlags& f) {
  std::string text;
  const auto say = [&](bool set, const char* words) {
    if (set) text += (text.empty() ? "" : ", ") + std::string(words);
  };
  say(f.hot_pixel, "hot pixel");
  say(f.cosmic_ray, "cosmic ray");
  say(f.column, "warm column");
  say(f.foreground, "foreground");  // before streaks: the ground's edge is long too
  say(f.streak, "streak");
  say(f.too_large, "too large for a star");
  say(f.edge, "cut by the edge");
  say(f.saturated, "saturated");
  say(f.blended, "blended");
  say(f.fit_failed, "no fit");
  return text;
}

/// A single star's trail below a pixel or four of its own sigmas is noise, a companion or the lens.
PixelPoint significant_trail(const Star& s) {
  const double length = std::hypot(s.trail_x_px, s.trail_y_px);
  const double variance = std::max(s.trail_cov.xx, s.trail_cov.yy);
  if (!(variance > 0.0) || length < std::max(1.0, 4.0 * std::sqrt(variance))) return {};
  return {s.trail_x_px, s.trail_y_px};
}

std::vector<StarMark> marks_of(const MeasuredFrame& m, const Catalogue& catalogue) {
  std::vector<StarMark> marks;
  for (const Star& s : m.stars.stars) {
    if (marks.size() == kMostMarks) break;
    StarMark mark;
    mark.place = s.position;
    mark.trail = significant_trail(s);
    mark.kind = s.flags.usable() ? MarkKind::unidentified : MarkKind::flagged;
    mark.why = flags_in_words(s.flags);
    marks.push_back(std::move(mark));
  }
  if (!m.identified || !m.identified->identification) return marks;
  for (const StarMatch& match : m.identified->identification->matches) {
    if (match.star >= marks.size()) continue;
    StarMark& mark = marks[match.star];
    mark.kind = MarkKind::identified;
    mark.v_magnitude = match.v_magnitude;
    if (match.catalogue != kNotInCatalogue) mark.name = catalogue.name(match.catalogue);
  }
  return marks;
}

/// Motion over the exposure as the trails of this frame alone show it: sense unknown.
std::vector<MotionArrow> motion_from_trails(const MeasuredFrame& m) {
  const TrailField& field = m.stars.trail_field;
  const auto& exposure = m.frame.metadata.exposure_s;
  if (!field.rotation || !m.identified || !m.identified->identification || !exposure || !(exposure->value > 0.0))
    return {};
  if (!(field.worst_trail_px > 3.0 * field.worst_trail_sigma_px)) return {};
  const LensModel& lens = m.identified->identification->lens;
  std::vector<MotionArrow> arrows;
  for (const PixelPoint p : arrow_places(m.stars.width, m.stars.height))
    if (const auto d = lens.unproject(p))
      if (const auto end = lens.project((*d - field.rotation->cross(*d)).unit())) {
        const double per_min = 60.0 / exposure->value;
        arrows.push_back({p, {(end->x - p.x) * per_min, (end->y - p.y) * per_min}});
      }
  return arrows;
}

}  // namespace

FrameView view_of(const MeasuredFrame& m, const Catalogue& catalogue) {
  FrameView view;
  view.file = m.frame.path.string();
  view.width_px = m.stars.width;
  view.height_px = m.stars.height;
  view.marks = marks_of(m, catalogue);
  view.motion = motion_from_trails(m);
  view.motion_sense_known = false;
  if (const Result<Frame> frame = read_frame(m.frame.path)) view.preview = preview_of(*frame);
  return view;
}

AlignEvidence align_evidence(const std::vector<MeasuredFrame>& frames, const Catalogue& catalogue,
                             const SessionOptions& options, const MountProblem* problem, const MountSolution* mount) {
  AlignEvidence out;
  const FieldCourse* course = nullptr;
  std::optional<FieldCourse> found;
  if (problem && mount && (found = course_of(*problem, *mount))) course = &*found;
  const auto shown = std::find_if(frames.rbegin(), frames.rend(), [&](const MeasuredFrame& m) {
    return !course || m.frame.path.filename().string() == course->last_frame;
  });
  out.frame = view_of(shown == frames.rend() ? frames.back() : *shown, catalogue);
  if (!course) return out;
  out.frame->motion = course->motion;
  out.frame->motion_sense_known = true;
  out.shifts = course->measured;
  out.fitted = course->fitted;
  if (options.exposure_s && course->finest_scale.rad() > 0.0)
    out.tolerance_radius_arcmin =
        Angle::rad(options.tolerance_px * course->finest_scale.rad() / (kSiderealRate_rad_per_s * *options.exposure_s))
            .arcmin();
  return out;
}

}  // namespace polewright::session
