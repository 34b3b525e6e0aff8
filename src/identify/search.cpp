#include "identify/search.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/thread_clock.hpp"
#include "identify/pattern_build.hpp"

namespace polewright {
namespace {

/// More neighbours than the index's, because some detections are no stars; fewer in the long lists, which are tried
/// last, when most fans are in vain.
std::size_t picture_neighbours(std::uint32_t among) {
  return among <= 80 ? 10 : 8;
}
constexpr double kSmallestFan_px = 12.0;
constexpr double kWideHalfField = 0.45;  // rad: beyond, projections differ visibly over a fan's neighbourhood

/// Evidence, as log odds, at which a neighbourhood counts as agreeing or is given up.
constexpr double kEnough = 6.5, kHopeless = -3.5;
/// A star of the sky appears among the detections with about this chance when the pose is right: clouds, foreground,
/// limits of brightness. Low, so that a half-covered field survives.
constexpr double kSeen = 0.4;

class Searcher {
 public:
  Searcher(const Detections& detections, const PatternIndex& index, const SearchPlan& plan,
           const std::function<bool(const Candidate&)>& accept, SearchCounts& counts)
      : detections_(detections), index_(index), plan_(plan), accept_(accept), counts_(counts) {}

  bool run() {
    std::uint32_t previous = 0;
    for (const std::uint32_t wanted : plan_.brightest) {
      const std::uint32_t among = std::min(wanted, detections_.size());
      if (among == previous || among < 4) break;
      previous = among;
      for (std::uint32_t anchor = 0; anchor < among; ++anchor) {
        if (thread_seconds() > plan_.deadline_s) return false;
        if (fans_of(anchor, among)) return true;
      }
    }
    return false;
  }

 private:
  struct PictureFan {
    std::array<std::uint32_t, 4> rank;
    std::uint32_t among;
    double size_px;
    double tolerance;
    bool mirrored;
  };

  /// Places of the anchor's neighbours as complex numbers, seen through the plan's lens where it has one.
  std::vector<std::complex<double>> around(std::uint32_t anchor, const std::vector<std::uint32_t>& neighbours,
                                           bool mirrored) const {
    std::vector<std::complex<double>> place;
    const PixelPoint a = detections_[anchor].place;
    if (!plan_.shape) {
      for (const std::uint32_t n : neighbours) {
        const PixelPoint p = detections_[n].place;
        place.emplace_back(mirrored ? a.x - p.x : p.x - a.x, p.y - a.y);
      }
      return place;
    }
    LensModel lens = *plan_.shape;
    lens.mirrored = mirrored;
    const auto centre = lens.unproject(a);
    if (!centre) return {};
    const ShapePlane<Camera> plane(*centre);
    for (const std::uint32_t n : neighbours) {
      const auto d = lens.unproject(detections_[n].place);
      if (!d) return {};
      place.push_back(plane(*d));
    }
    return place;
  }

  bool fans_of(std::uint32_t anchor, std::uint32_t among) {
    const auto neighbours = detections_.neighbours(anchor, picture_neighbours(among), among);
    const std::uint32_t choices = choices_of(static_cast<std::uint32_t>(neighbours.size()));
    const PixelPoint a = detections_[anchor].place;
    for (const bool mirrored : {false, true}) {
      const auto place = around(anchor, neighbours, mirrored);
      if (place.empty()) return false;
      for (std::uint32_t c = 0; c < choices; ++c) {
        const Choice choice = neighbour_choices()[c];
        const PixelPoint far = detections_[neighbours[choice.far]].place;
        PictureFan fan{{anchor, neighbours[choice.near], neighbours[choice.middle], neighbours[choice.far]},
                       among,
                       std::hypot(far.x - a.x, far.y - a.y),
                       0.0,
                       mirrored};
        if (fan.size_px < kSmallestFan_px) continue;
        ++counts_.fans;
        const FanCode code = fan_code(place[choice.near], place[choice.middle], place[choice.far]);
        if (look_up(fan, code)) return true;
      }
    }
    return false;
  }

  /// How far codes of the same stars may differ for a fan of this size on a level of this spacing.
  double tolerance(const PictureFan& fan, const PatternLevel& level) const {
    double noise = 0.0;
    for (const std::uint32_t r : fan.rank) noise = std::max(noise, detections_[r].sigma_px);
    double t = plan_.base_tolerance + (0.3 + 2.0 * noise) / fan.size_px;
    const PixelPoint a = detections_[fan.rank[0]].place, o = detections_.centre();
    const double off_axis_px = std::hypot(a.x - o.x, a.y - o.y);
    t += 0.012 * std::pow(off_axis_px / detections_.half_diagonal_px(), 2);  // lens distortion grows outwards
    if (!plan_.shape) {
      const double focal_px = fan.size_px / (1.3 * level.spacing().rad());
      t += 0.25 * std::pow(off_axis_px / focal_px, 2);
    }
    return std::min(t, 0.05);
  }

  bool look_up(const PictureFan& fan, const FanCode& code) {
    for (const PatternLevel& level : index_.levels()) {
      // A fan reaches 0.5 to 3 spacings of its level: the focal length must lie within the plan.
      const double spacing = level.spacing().rad();
      if (level.spacing().deg() < plan_.densest_spacing_deg ||
          fan.size_px / (0.4 * spacing) < plan_.shortest_focal_px ||
          fan.size_px / (3.5 * spacing) > plan_.longest_focal_px)
        continue;
      ++counts_.lookups;
      bool accepted = false;
      level.visit_fans(code, tolerance(fan, level), [&](const IndexedFan& sky) {
        if (accepted) return;
        ++counts_.matches;
        accepted = consider(fan, level, sky);
      });
      if (accepted) return true;
    }
    return false;
  }

  bool consider(const PictureFan& fan, const PatternLevel& level, const IndexedFan& sky) {
    Candidate candidate;
    for (std::size_t i = 0; i < 4; ++i) {
      candidate.fan.place[i] = detections_[fan.rank[i]].place;
      candidate.fan.direction[i] = level.direction(sky.star[i]);
    }
    // The plain ratio of sizes first: it is near enough to drop what cannot fit.
    const double angle = angle_between(candidate.fan.direction[0], candidate.fan.direction[3]).rad();
    const double rough_focal_px = fan.size_px / angle;
    if (rough_focal_px < 0.7 * plan_.shortest_focal_px || rough_focal_px > 3.0 * plan_.longest_focal_px ||
        !looks_like_level(rough_focal_px, level, fan, 2.0))
      return false;
    const bool wide = detections_.half_diagonal_px() / rough_focal_px > kWideHalfField;
    LensModel lens = plan_.shape
                         ? *plan_.shape
                         : centred_lens(Projection::rectilinear, 1.0, detections_.width(), detections_.height());
    lens.mirrored = fan.mirrored;
    for (const Projection projection : {Projection::rectilinear, Projection::equidistant}) {
      if (projection != Projection::rectilinear && !wide) break;
      lens.projection = projection;
      const auto pose = pose_from_fan(candidate.fan, lens);
      if (!pose || !fits_plan(*pose, level, fan)) continue;
      candidate.pose = *pose;
      candidate.reach_px = 3.0 * fan.size_px;
      ++counts_.posed;
      if (!fan_agrees(candidate, fan) || !neighbourhood_agrees(candidate, fan, level)) continue;
      ++counts_.passed;
      if (accept_(candidate)) return true;
    }
    return false;
  }

  /// The level must look like the brightest detections: neither far denser nor far sparser.
  bool looks_like_level(double focal_px, const PatternLevel& level, const PictureFan& fan, double slack) const {
    const double field = std::min(detections_.area_px() / (focal_px * focal_px), 2.0 * std::numbers::pi);
    const double level_stars = field * level.size() / (4.0 * std::numbers::pi);
    return level_stars > 0.08 / slack * fan.among && level_stars < 12.0 * slack * fan.among;
  }

  bool fits_plan(const Pose& pose, const PatternLevel& level, const PictureFan& fan) const {
    const double f = pose.lens.focal_px;
    if (f < plan_.shortest_focal_px || f > plan_.longest_focal_px) return false;
    if (!looks_like_level(f, level, fan, 1.0)) return false;
    if (!plan_.centre) return true;
    const auto centre = pose.lens.unproject(detections_.centre());
    return centre && angle_between(pose.camera_from_icrs.inverse() * *centre, *plan_.centre) < plan_.centre_radius;
  }

  /// Allowed distance of a star from where the pose puts it, this far from the fan's anchor.
  double reach(const Pose& pose, double distance_px) const {
    const double half_field = detections_.half_diagonal_px() / pose.lens.focal_px;
    return 2.0 + std::min(0.03, 0.010 + 0.02 * half_field * half_field) * distance_px;
  }

  bool fan_agrees(const Candidate& candidate, const PictureFan& fan) const {
    const double allowed = reach(candidate.pose, fan.size_px) + 2.0 * detections_[fan.rank[3]].sigma_px;
    for (const std::size_t i : {std::size_t{1}, std::size_t{2}}) {
      const auto p = candidate.pose.project(candidate.fan.direction[i]);
      if (!p || std::hypot(p->x - candidate.fan.place[i].x, p->y - candidate.fan.place[i].y) > allowed) return false;
    }
    return true;
  }

  bool neighbourhood_agrees(const Candidate& candidate, const PictureFan& fan, const PatternLevel& level) const {
    const Pose& pose = candidate.pose;
    const PixelPoint anchor = candidate.fan.place[0];
    const double angle = angle_between(candidate.fan.direction[0], candidate.fan.direction[3]).rad();
    const std::uint32_t among = std::min(2 * fan.among, detections_.size());
    double evidence = 0.0;
    level.visit_stars(candidate.fan.direction[0], Angle::rad(std::min(3.0 * angle, 1.0)), [&](std::uint32_t star) {
      const Vec<Icrs> d = level.direction(star);
      if (std::any_of(candidate.fan.direction.begin(), candidate.fan.direction.end(),
                      [&](Vec<Icrs> used) { return (used - d).norm() < 1e-6; }))
        return true;
      const auto p = pose.project(d);
      if (!p || !detections_.on_frame(*p)) return true;
      const double allowed = reach(pose, std::hypot(p->x - anchor.x, p->y - anchor.y));
      const double accident = std::min(0.5, among * std::numbers::pi * allowed * allowed / detections_.area_px());
      evidence += detections_.nearest(*p, allowed, among) ? std::log((kSeen + (1.0 - kSeen) * accident) / accident)
                                                          : std::log((1.0 - kSeen) / (1.0 - accident));
      return evidence > kHopeless && evidence < kEnough;
    });
    return evidence >= kEnough;
  }

  const Detections& detections_;
  const PatternIndex& index_;
  const SearchPlan& plan_;
  const std::function<bool(const Candidate&)>& accept_;
  SearchCounts& counts_;
};

}  // namespace

bool search(const Detections& detections, const PatternIndex& index, const SearchPlan& plan,
            const std::function<bool(const Candidate&)>& accept, SearchCounts& counts) {
  return Searcher(detections, index, plan, accept, counts).run();
}

}  // namespace polewright
