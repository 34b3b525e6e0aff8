#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "mount/linear.hpp"
#include "mount/series.hpp"

namespace polewright::mount_detail {
namespace {

// Play and wind of a small mount in calm air, common practice, no source; only hypotheses are weighed with it.
const double kTypicalWobble_rad = Angle::arcsec(3.0).rad();
// χ² that a change must explain, in units of what is left over: by chance once in a million for two equations spent.
constexpr double kEvidence = 28.0;
// An adjustment moves the camera with the base: how well the two must agree, so that sag does not pass for one.
const double kBaseAgreement_rad = Angle::arcmin(3.0).rad();
const double kSmallestAdjustment_rad = Angle::arcmin(1.5).rad();

struct Judged {
  AxisSetup setup;
  AxisFit fit;
  Series series;
};

std::optional<Judged> judge(Series series, const SeriesContext& context) {
  Judged j{make_setup(series, context), {}, std::move(series)};
  if (j.setup.start_axes.empty()) return {};
  j.setup.wobble_rad = kTypicalWobble_rad;
  j.fit = fit_axis(j.setup);
  if (!j.fit.solved || !j.fit.full_rank || j.fit.dof < 0) return {};
  return j;
}

Series without_frame(Series s, std::size_t i, const std::string& reason) {
  s.set_aside[s.kept[i]] = reason;
  if (i + 1 < s.kept.size() && i > 0) {
    s.links[i + 1].swung |= s.links[i].swung;
    s.links[i + 1].new_group |= s.links[i].new_group;
    s.links[i + 1].new_epoch |= s.links[i].new_epoch;
  }
  s.kept.erase(s.kept.begin() + static_cast<std::ptrdiff_t>(i));
  s.links.erase(s.links.begin() + static_cast<std::ptrdiff_t>(i));
  return s;
}

/// Whether the camera turned over the ground between two frames as it must when its base moved from one axis to the
/// other: about the horizontal, then about the vertical, and any turn about the axis itself.
bool base_moved_camera(const Judged& j, const SeriesContext& c, std::size_t i) {
  const auto epoch = static_cast<std::size_t>(j.setup.frames[i].epoch);
  const Vec<Enu> before = from_eigen<Enu>(j.fit.axes[epoch - 1]), after = from_eigen<Enu>(j.fit.axes[epoch]);
  const Vec<Enu> up{0.0, 0.0, 1.0};
  const auto raise = rotation_about(before.cross(up).unit(), altitude_of(after) - altitude_of(before));
  const auto turn = rotation_about(up, azimuth_of(before) - azimuth_of(after));
  const Eigen::Matrix3d base = to_eigen(turn * raise);
  const Eigen::Matrix3d moved = j.setup.frames[i].camera_from_enu.transpose() * j.setup.frames[i - 1].camera_from_enu;
  const Eigen::Vector3d left = rotation_vector(base.transpose() * moved);  // should be a turn about the old axis
  const double slack =
      kBaseAgreement_rad + 4.0 * std::sqrt(j.fit.axis_cov[epoch].trace() + j.fit.axis_cov[epoch - 1].trace());
  return left.cross(j.fit.axes[epoch - 1]).norm() < slack &&
         angle_between(before, after).rad() > kSmallestAdjustment_rad && c.problem.adjusted_before.empty();
}

double evidence(const Judged& now, const Judged& then) {
  const int spent = now.fit.dof - then.fit.dof;
  if (spent <= 0) return 0.0;
  const double left = then.fit.dof > 0 ? then.fit.chi2 / then.fit.dof : 1.0;
  return (now.fit.chi2 - then.fit.chi2) / std::max(left, 1.0) * (2.0 / std::max(spent, 2));
}

/// A change of the reading that leaves nothing over to check it by is accepted for adjustments only, which have the
/// base's own motion as a witness.
struct Candidate {
  Judged judged;
  double evidence = 0.0;
};

void consider(std::optional<Candidate>& best, const Judged& now, std::optional<Judged> then, bool witnessed) {
  if (!then || (then->fit.dof <= 0 && !witnessed)) return;
  const double e = evidence(now, *then);
  if (e > kEvidence && (!best || e > best->evidence)) best = Candidate{std::move(*then), e};
}

std::optional<Candidate> best_change(const Judged& now, const SeriesContext& c) {
  std::optional<Candidate> best;
  const Series& s = now.series;
  for (std::size_t i = 0; i < s.kept.size(); ++i) {
    consider(best, now, judge(without_frame(s, i, "does not fit the others: bumped, slipped or clouded"), c), false);
    if (i == 0) continue;
    Series slipped = s;
    slipped.links[i].new_group = true;
    drop_lonely_frames(slipped);
    if (!s.links[i].new_group) consider(best, now, judge(slipped, c), false);
    if (s.links[i].new_epoch) continue;
    Series adjusted = s;
    adjusted.links[i] = {false, true, true};
    auto j = judge(adjusted, c);
    if (j && base_moved_camera(*j, c, i)) consider(best, now, std::move(j), true);
  }
  return best;
}

}  // namespace

void revise(Series& series, const SeriesContext& context) {
  drop_lonely_frames(series);
  for (std::size_t round = 0; round < series.set_aside.size(); ++round) {
    const auto now = judge(series, context);
    if (!now || now->fit.dof <= 0) return;
    if (now->fit.chi2 < now->fit.dof + kEvidence) return;
    auto change = best_change(*now, context);
    if (!change) return;
    series = std::move(change->judged.series);
  }
}

}  // namespace polewright::mount_detail
