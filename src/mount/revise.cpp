#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>
#include <vector>

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

// In long series only the frames and links that look worst are tried; every trial is a fit.
constexpr std::size_t kTrials = 8;

/// Indices with the largest values, at most kTrials.
std::vector<std::size_t> worst(const std::vector<double>& values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return values[x] > values[y]; });
  order.resize(std::min(order.size(), kTrials));
  return order;
}

/// How far each frame is from the model (turns over the ground), and how far that jumps from the frame before.
struct Misfit {
  std::vector<double> frame, jump;
};
Misfit misfit_of(const Judged& now) {
  Misfit m;
  Eigen::Vector3d before = Eigen::Vector3d::Zero();
  for (std::size_t i = 0; i < now.setup.frames.size(); ++i) {
    const Eigen::Vector3d left =
        rotation_vector(now.setup.frames[i].camera_from_enu.transpose() * model_attitude(now.setup, now.fit, i));
    m.frame.push_back(left.norm());
    m.jump.push_back(i > 0 ? (left - before).norm() : 0.0);
    before = left;
  }
  return m;
}

std::optional<Candidate> best_change(const Judged& now, const SeriesContext& c) {
  std::optional<Candidate> best;
  const Series& s = now.series;
  const Misfit misfit = misfit_of(now);
  for (const std::size_t i : worst(misfit.frame))
    consider(best, now, judge(without_frame(s, i, "does not fit the others: bumped, slipped or clouded"), c), false);
  std::vector<std::size_t> links = worst(misfit.jump);
  // Where the camera was re-aimed the misfit shows no jump, yet the axis may have been adjusted there.
  for (std::size_t i = 1; i < s.kept.size() && links.size() < 2 * kTrials; ++i)
    if (s.links[i].new_group && std::find(links.begin(), links.end(), i) == links.end()) links.push_back(i);
  for (const std::size_t i : links) {
    if (i == 0) continue;
    Series slipped = s;
    slipped.links[i] = {false, true, s.links[i].new_epoch};
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
