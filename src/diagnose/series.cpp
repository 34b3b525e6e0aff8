#include "diagnose/series.hpp"

#include <algorithm>
#include <cmath>

namespace polewright::diagnose {
namespace {

constexpr double kPlaceFloor_px = 0.02;

}  // namespace

double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

double robust_sigma(const std::vector<double>& values) {
  const double centre = median_of(values);
  std::vector<double> off;
  off.reserve(values.size());
  for (const double v : values) off.push_back(std::abs(v - centre));
  return 1.4826 * median_of(off);
}

double corner_px(const NightField& field) {
  return 0.5 * std::hypot(field.width_px, field.height_px);
}

Displacement displacement_of(const Vec<Camera>& turn, const NightField& field) {
  const double side = field.mirrored ? -1.0 : 1.0;
  return {side * *field.focal_px * turn.y, -*field.focal_px * turn.x, side * turn.z * corner_px(field)};
}

Vec<Camera> star_turn_of(const Displacement& d, const NightField& field) {
  const double side = field.mirrored ? -1.0 : 1.0;
  return {-d.y() / *field.focal_px, side * d.x() / *field.focal_px, side * d.z() / corner_px(field)};
}

double worst_of(const Displacement& d, const NightField& field) {
  const double roll = d.z() / corner_px(field);
  const double half_x = 0.5 * field.width_px, half_y = 0.5 * field.height_px;
  double worst = std::hypot(d.x(), d.y());
  for (const double x : {-half_x, half_x})
    for (const double y : {-half_y, half_y}) worst = std::max(worst, std::hypot(d.x() - roll * y, d.y() + roll * x));
  return worst;
}

double Series::cadence_s() const {
  std::vector<double> gaps;
  for (Eigen::Index i = 1; i < size(); ++i) gaps.push_back(time_s[i] - time_s[i - 1]);
  return median_of(std::move(gaps));
}

void Series::turn_to(const Eigen::Vector3d& direction) {
  const Eigen::Vector3d first = direction.normalized();
  const Eigen::HouseholderQR<Eigen::Vector3d> reflection(first);
  const Eigen::Matrix3d turn = reflection.householderQ() * Eigen::Matrix3d::Identity();
  const double sign = turn.col(0).dot(first) < 0.0 ? -1.0 : 1.0;
  y = (y * turn * sign).eval();
  px_from_y = (px_from_y * turn * sign).eval();
  direction_known = true;
}

Series series_of(const std::vector<NightFrame>& frames, const NightField& field) {
  Series s;
  for (std::size_t i = 0; i < frames.size(); ++i)
    if (frames[i].time_s && frames[i].place) s.frame.push_back(i);
  const auto n = static_cast<Eigen::Index>(s.frame.size());
  s.time_s.resize(n);
  s.exposure_s.resize(n);
  s.weight.resize(n);
  s.y.resize(n, 3);
  s.smear = Eigen::MatrixXd::Zero(n, 2);
  s.smear_sigma = Eigen::VectorXd::Zero(n);
  std::vector<double> sigmas, roll_sigmas;
  for (const std::size_t i : s.frame) {
    // Centroids of round and of drawn-out images differ by a few hundredths of a pixel, whatever the stars' noise says.
    sigmas.push_back(std::max(frames[i].place->sigma_px, kPlaceFloor_px));
    roll_sigmas.push_back(std::max(frames[i].place->roll_sigma_rad * corner_px(field), kPlaceFloor_px));
  }
  const double sigma = median_of(sigmas), roll_sigma = median_of(roll_sigmas);
  if (n == 0) return s;
  s.px_from_y = Eigen::Vector3d(sigma, sigma, roll_sigma).asDiagonal();
  for (Eigen::Index k = 0; k < n; ++k) {
    const NightFrame& f = frames[s.frame[static_cast<std::size_t>(k)]];
    s.time_s[k] = *f.time_s;
    s.exposure_s[k] = f.exposure_s;
    s.weight[k] = std::min(1.0, sigma / sigmas[static_cast<std::size_t>(k)]);
    s.y.row(k) = s.weight[k] * Eigen::RowVector3d(f.place->x_px / sigma, f.place->y_px / sigma,
                                                  f.place->roll_rad * corner_px(field) / roll_sigma);
    if (!f.trail) continue;
    const double x = f.trail->x_px, y = f.trail->y_px, along = std::sqrt(0.5 * (f.trail->cov.xx + f.trail->cov.yy));
    s.smear.row(k) << x * x - y * y, 2.0 * x * y;
    s.smear_sigma[k] = 2.0 * std::hypot(x, y, along) * along;
  }
  if (field.pole && field.focal_px) {
    const Displacement along = displacement_of(*field.pole, field);
    s.turn_to(Eigen::Vector3d(along.x() / sigma, along.y() / sigma, along.z() / roll_sigma));
  }
  return s;
}

}  // namespace polewright::diagnose
