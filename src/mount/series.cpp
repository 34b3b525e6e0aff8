#include "mount/series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "mount/linear.hpp"

namespace polewright::mount_detail {
namespace {

constexpr int kFewestStars = 4;                 // two fix an attitude; four leave something to judge it by
constexpr double kLargestAxisError_deg = 25.0;  // a turn further from the pole is not the mount's
constexpr double kFastestTracking = 2.6;        // double rate and a generous periodic error
const double kSmallJolt_rad = Angle::arcmin(1.0).rad();
const double kSmallestSwing_rad = Angle::deg(1.0).rad();
// A frame whose stars scatter this much more than the others' is not what it seems.
constexpr double kScatterRatio = 6.0;

std::string star_complaint(const AttitudeFit& fit, std::size_t f, double median_rms) {
  if (fit.stars_used[f] < kFewestStars) return fmt::format("only {} usable stars", fit.stars_used[f]);
  if (fit.residual_rms_px[f] > kScatterRatio * median_rms && fit.residual_rms_px[f] > 0.5)
    return fmt::format("its stars do not fit the sky: {:.2f} px scatter", fit.residual_rms_px[f]);
  return {};
}

Link read_link(const SeriesContext& c, std::size_t a, std::size_t b) {
  const Eigen::Vector3d turn = turn_over_ground(c.attitudes, a, b);
  const MountFrame &fa = c.problem.frames[a], &fb = c.problem.frames[b];
  const double interval_s = std::abs(fb.mid_time.seconds_since(fa.mid_time));
  const double time_noise = std::abs(c.sky_rate_rad_per_s) * std::hypot(fa.mid_time_sigma_s, fb.mid_time_sigma_s);
  const double along = std::abs(turn.dot(c.pole_in_enu));
  const double across = turn.cross(c.pole_in_enu).norm();
  const double cone = std::tan(Angle::deg(kLargestAxisError_deg).rad());
  const bool near_pole = across <= cone * along + kSmallJolt_rad;
  const double most =
      kFastestTracking * std::abs(c.sky_rate_rad_per_s) * interval_s + kSmallJolt_rad + 3.0 * time_noise;
  Link link;
  if (near_pole && along <= most) return link;
  if (near_pole && along >= kSmallestSwing_rad)
    link.swung = true;
  else
    link.new_group = true;
  return link;
}

/// Largest turn between two frames of one group and epoch: the surest direction to start from.
Eigen::Vector3d largest_turn(const std::vector<AxisFrame>& frames, int epoch) {
  Eigen::Vector3d best = Eigen::Vector3d::Zero();
  for (std::size_t a = 0; a < frames.size(); ++a)
    for (std::size_t b = a + 1; b < frames.size() && frames[b].group == frames[a].group; ++b) {
      if (frames[a].epoch != epoch) continue;
      const Eigen::Vector3d turn = rotation_vector(frames[b].camera_from_enu.transpose() * frames[a].camera_from_enu);
      if (turn.norm() > best.norm()) best = turn;
    }
  return best;
}

Eigen::MatrixXd covariance_of(const Eigen::MatrixXd& all, const std::vector<std::size_t>& kept) {
  std::vector<Eigen::Index> rows;
  for (const std::size_t f : kept)
    for (Eigen::Index i = 0; i < 3; ++i) rows.push_back(3 * static_cast<Eigen::Index>(f) + i);
  for (Eigen::Index i = all.rows() - kLensParameters; i < all.rows(); ++i) rows.push_back(i);
  return all(rows, rows);
}

}  // namespace

Eigen::Vector3d turn_over_ground(const AttitudeFit& attitudes, std::size_t a, std::size_t b) {
  return rotation_vector(attitudes.state.camera_from_enu[b].transpose() * attitudes.state.camera_from_enu[a]);
}

Series first_reading(const SeriesContext& c) {
  Series series;
  series.set_aside.resize(c.problem.frames.size());
  std::vector<double> rms;
  for (std::size_t f = 0; f < c.problem.frames.size(); ++f)
    if (c.attitudes.stars_used[f] >= kFewestStars) rms.push_back(c.attitudes.residual_rms_px[f]);
  std::sort(rms.begin(), rms.end());
  const double median = rms.empty() ? 0.0 : rms[(rms.size() - 1) / 2];
  for (std::size_t f = 0; f < c.problem.frames.size(); ++f) {
    series.set_aside[f] = star_complaint(c.attitudes, f, median);
    if (!series.set_aside[f].empty()) continue;
    Link link;
    if (!series.kept.empty()) link = read_link(c, series.kept.back(), f);
    const std::size_t before = series.kept.empty() ? 0 : series.kept.back() + 1;
    for (const std::size_t adjusted : c.problem.adjusted_before)
      if (!series.kept.empty() && adjusted >= before && adjusted <= f) link = {false, true, true};
    series.kept.push_back(f);
    series.links.push_back(link);
  }
  return series;
}

void drop_lonely_frames(Series& series) {
  for (std::size_t i = 0; i < series.kept.size();) {
    const bool starts = i == 0 || series.links[i].new_group;
    const bool ends = i + 1 == series.kept.size() || series.links[i + 1].new_group;
    if (!starts || !ends || series.kept.size() <= 2) {
      ++i;
      continue;
    }
    series.set_aside[series.kept[i]] = "no other frame was taken with the camera as it stood on its head here";
    if (i + 1 < series.kept.size()) {
      series.links[i + 1].new_epoch |= series.links[i].new_epoch;
      series.links[i + 1].new_group = true;
    }
    series.kept.erase(series.kept.begin() + static_cast<std::ptrdiff_t>(i));
    series.links.erase(series.links.begin() + static_cast<std::ptrdiff_t>(i));
  }
}

AxisSetup make_setup(const Series& series, const SeriesContext& c) {
  AxisSetup setup;
  setup.pole_in_enu = c.pole_in_enu;
  setup.sky_rate_rad_per_s = c.sky_rate_rad_per_s;
  setup.clock_sigma_s =
      std::hypot(c.problem.clock_sigma_s, c.problem.site_sigma.rad() / std::abs(c.sky_rate_rad_per_s));
  setup.turn_noise_rad = c.options.turn_noise.rad();
  const LensModel& lens = c.attitudes.state.lens;
  setup.lens << lens.focal_px, lens.principal_point.x, lens.principal_point.y, lens.k1, lens.k2;
  setup.covariance = covariance_of(c.attitudes.covariance, series.kept);
  int group = 0, epoch = 0;
  for (std::size_t i = 0; i < series.kept.size(); ++i) {
    const MountFrame& frame = c.problem.frames[series.kept[i]];
    const Link link = i == 0 ? Link{} : series.links[i];
    group += link.new_group;
    epoch += link.new_epoch;
    AxisFrame f;
    f.camera_from_enu = c.attitudes.state.camera_from_enu[series.kept[i]];
    f.time_s = frame.mid_time.seconds_since(c.problem.frames.front().mid_time);
    f.time_sigma_s = frame.mid_time_sigma_s;
    f.group = group;
    f.epoch = epoch;
    f.tracked_from_previous = i > 0 && !link.swung && !link.new_group;
    f.exposure_s = frame.exposure_s;
    if (frame.trail) {
      f.trail = to_eigen(frame.trail->rotation);
      f.trail_cov = Eigen::Map<const Eigen::Matrix3d>(frame.trail->rotation_cov.data());
    }
    setup.frames.push_back(std::move(f));
  }
  for (int e = 0; e <= epoch; ++e) {
    const Eigen::Vector3d turn = largest_turn(setup.frames, e);
    if (turn.norm() == 0.0) {
      setup.start_axes.clear();
      return setup;
    }
    setup.start_axes.push_back(turn.normalized() * (turn.dot(c.pole_in_enu) >= 0.0 ? 1.0 : -1.0));
  }
  return setup;
}

}  // namespace polewright::mount_detail
