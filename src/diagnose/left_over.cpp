#include "diagnose/left_over.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::diagnose {
namespace {

/// Fewer frames than these agree by chance.
constexpr std::size_t kFewestAlike = 6;
/// Scatter of the squares from frame to frame, over their common part, up to which the frames are alike: the trails
/// then differ by less than a tenth. A convention.
constexpr double kAlike = 0.2;
/// From this many exposures between two frames on, most of what happens falls between them.
constexpr double kFarApart = 3.0;

Eigen::Vector2d square_of(double x, double y) {
  return {x * x - y * y, 2.0 * x * y};
}

/// What the squares of the trails (px²) have in common beyond the motion from frame to frame; zero when they differ.
Eigen::Vector2d common_square(const Ledger& l) {
  std::vector<double> first, second, off;
  for (std::size_t i = 0; i < l.frames.size(); ++i) {
    if (!l.frames[i].trail || l.sudden(i)) continue;
    const Displacement& due = l.motions[i].expected;
    const Eigen::Vector2d q = square_of(l.frames[i].trail->x_px, l.frames[i].trail->y_px) - square_of(due.x(), due.y());
    first.push_back(q.x());
    second.push_back(q.y());
  }
  if (first.size() < kFewestAlike) return Eigen::Vector2d::Zero();
  const Eigen::Vector2d common(median_of(first), median_of(second));
  for (std::size_t i = 0; i < first.size(); ++i)
    off.push_back((Eigen::Vector2d(first[i], second[i]) - common).squaredNorm());
  // The median of a two-dimensional squared error is 2 ln 2 σ².
  const double scatter = std::sqrt(median_of(off) / (2.0 * std::numbers::ln2));
  return scatter < kAlike * common.norm() ? common : Eigen::Vector2d::Zero();
}

}  // namespace

double length_to_width(double trail_px, double fwhm_px) {
  // An even trail adds L²/12 to the second moment along it; a Gaussian's is FWHM²/(8 ln 2).
  return std::sqrt(1.0 + trail_px * trail_px / 12.0 * 8.0 * std::numbers::ln2 / (fwhm_px * fwhm_px));
}

LeftOver left_over(const Ledger& l) {
  LeftOver out;
  std::vector<double> trails, motions, ratios, exposures;
  for (std::size_t i = 0; i < l.frames.size(); ++i) {
    const FrameMotion& m = l.motions[i];
    exposures.push_back(l.frames[i].exposure_s);
    const double due = worst_of(m.expected, l.field);
    if (!l.frames[i].trail || !m.trail_px || *m.trail_px <= l.options.tolerance_px) continue;
    if (!m.excess && due >= 0.5 * *m.trail_px) continue;
    trails.push_back(*m.trail_px);
    motions.push_back(due);
    if (l.frames[i].fwhm_px) ratios.push_back(length_to_width(*m.trail_px, *l.frames[i].fwhm_px));
  }
  out.trails = trails.size();
  out.trail_px = median_of(trails);
  out.motion_px = median_of(motions);
  if (!ratios.empty()) out.length_to_width = median_of(ratios);
  const Eigen::Vector2d common = common_square(l);
  out.alike_px = std::sqrt(common.norm());
  out.alike_deg = 0.5 * std::atan2(common.y(), common.x()) * 180.0 / std::numbers::pi;
  out.far_apart = l.series.size() >= 2 && l.series.cadence_s() > kFarApart * median_of(exposures);
  return out;
}

std::string left_over_evidence(const Ledger& l, std::size_t frames) {
  const LeftOver o = left_over(l);
  const std::string counted = fmt::format("{} frame{}", frames, frames == 1 ? "" : "s");
  if (o.trails == 0 || 2 * o.trails < frames) return counted + " that none of the known causes accounts for";
  return fmt::format(
      "{}, stars typically drawn out by {:.1f} px ({:.1f} times as long as wide), of which the motion from frame to "
      "frame makes {:.1f} px",
      counted, o.trail_px, o.length_to_width, o.motion_px);
}

std::optional<std::string> left_over_note(const Ledger& l, std::size_t frames) {
  const LeftOver o = left_over(l);
  if (o.trails == 0 || 2 * o.trails < frames) return {};
  if (o.alike_px >= l.options.least_share_of_tolerance * l.options.tolerance_px)
    return fmt::format(
        "every frame's stars are drawn out alike, {:.1f} px at {:.0f}°, beyond what the field moves: the lens (tilted "
        "or "
        "out of centre), or a movement that repeats with every frame. Shoot one sub a quarter as long: the lens draws "
        "stars out as far as before, a movement less",
        o.alike_px, o.alike_deg);
  if (o.far_apart)
    return fmt::format(
        "the field goes to and fro within the exposures that are left unexplained (worm, wind, jerks of a guider), and "
        "frames {:.0f} minutes apart cannot show which. Shoot ten subs without a pause",
        l.series.cadence_s() / 60.0);
  return {};
}

}  // namespace polewright::diagnose
