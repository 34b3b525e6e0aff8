#include "stars/elongation_model.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace polewright {
namespace {

constexpr double kOutlier = 9.0;         // squared distance beyond which a star counts less and less
constexpr double kMedianChi2 = 1.38629;  // median of χ² with two degrees of freedom

using Rows = Eigen::Matrix<double, 2, kElongationParameters>;

/// Unit aberrations: columns from kTiltA on.
Rows aberration_rows(double u, double v) {
  const double a = u * u - v * v, b = 2.0 * u * v, r2 = u * u + v * v;
  Rows rows = Rows::Zero();
  rows.col(kTiltA) << u, v;
  rows.col(kTiltB) << -v, u;
  rows.col(kRadial2) << a, b;
  rows.col(kRadial4) << r2 * a, r2 * b;
  return rows;
}

/// (tx, ty) from (x, y, twist): the pinhole motion of motion_field.hpp.
Eigen::Matrix<double, 2, 3> trail_rows(double u, double v, double bend) {
  Eigen::Matrix<double, 2, 3> rows;
  rows << 1.0 + bend * u * u, bend * u * v, v, bend * u * v, 1.0 + bend * v * v, -u;
  return rows;
}

ElongationVector weights_of(const ElongationVector& prior_sigma) {
  ElongationVector weight = ElongationVector::Zero();
  for (Eigen::Index i = 0; i < kElongationParameters; ++i)
    if (prior_sigma[i] > 0.0) weight[i] = 1.0 / (prior_sigma[i] * prior_sigma[i]);
  return weight;
}

}  // namespace

struct ElongationProblem::Normal {
  ElongationMatrix matrix = ElongationMatrix::Zero();
  ElongationVector gradient = ElongationVector::Zero();
  double cost = 0.0;
};

Eigen::Vector2d ElongationProblem::aberration(const ElongationVector& p, double u, double v) {
  return aberration_rows(u, v) * p;
}

Eigen::Vector2d ElongationProblem::trail(const ElongationVector& p, double u, double v) const {
  return trail_rows(u, v, bend_) * p.head<3>();
}

ElongationProblem::Normal ElongationProblem::normal_at(const ElongationVector& p,
                                                       const ElongationVector& prior_weight) const {
  Normal n;
  for (const ElongationSample& s : samples_) {
    Rows rows = aberration_rows(s.u, s.v);
    const Eigen::Vector2d optics = rows * p;
    const Eigen::Matrix<double, 2, 3> motion = trail_rows(s.u, s.v, bend_);
    const Eigen::Vector2d t = motion * p.head<3>();
    const Eigen::Vector2d square(t[0] * t[0] - t[1] * t[1], 2.0 * t[0] * t[1]);
    Eigen::Matrix2d by_trail;
    by_trail << 2.0 * t[0], -2.0 * t[1], 2.0 * t[1], 2.0 * t[0];
    rows.leftCols<3>() = by_trail * motion;
    const Eigen::Vector2d residual = s.q - square - optics;
    const Eigen::Matrix2d weight = (s.covariance + scatter_ * Eigen::Matrix2d::Identity()).inverse();
    const double distance = residual.dot(weight * residual);
    // Huber's loss on the distance: quadratic inside, linear outside.
    const double share = distance <= kOutlier ? 1.0 : std::sqrt(kOutlier / distance);
    n.cost += distance <= kOutlier ? distance : 2.0 * std::sqrt(kOutlier * distance) - kOutlier;
    n.matrix += share * rows.transpose() * weight * rows;
    n.gradient += share * rows.transpose() * weight * residual;
  }
  n.cost += (prior_weight.array() * p.array().square()).sum();
  n.matrix.diagonal() += prior_weight;
  n.gradient.array() -= prior_weight.array() * p.array();
  return n;
}

ElongationFit ElongationProblem::fit(const ElongationVector& start, const std::array<bool, kElongationParameters>& free,
                                     const ElongationVector& prior_sigma) const {
  const ElongationVector prior_weight = weights_of(prior_sigma);
  const auto hold = [&](Normal& n) {
    for (Eigen::Index i = 0; i < kElongationParameters; ++i)
      if (!free[static_cast<std::size_t>(i)]) {
        n.matrix.row(i).setZero();
        n.matrix.col(i).setZero();
        n.gradient[i] = 0.0;
      }
  };
  ElongationFit result;
  result.parameters = start;
  Normal now = normal_at(start, prior_weight);
  hold(now);
  double damping = 1e-3;
  for (int iteration = 0; iteration < 40 && damping < 1e8; ++iteration) {
    ElongationMatrix damped = now.matrix;
    for (Eigen::Index i = 0; i < kElongationParameters; ++i) damped(i, i) += damping * now.matrix(i, i) + 1e-12;
    const ElongationVector step = damped.ldlt().solve(now.gradient);
    Normal next = normal_at(result.parameters + step, prior_weight);
    hold(next);
    if (next.cost > now.cost) {
      damping *= 10.0;
      continue;
    }
    result.parameters += step;
    const bool done = now.cost - next.cost < 1e-3;
    now = next;
    damping = std::max(1e-9, 0.1 * damping);
    if (done) break;
  }
  result.information = now.matrix;
  result.chi2 = now.cost;
  return result;
}

ElongationMatrix ElongationProblem::information_at(const ElongationVector& p,
                                                   const ElongationVector& prior_sigma) const {
  return normal_at(p, weights_of(prior_sigma)).matrix;
}

Eigen::Vector2d ElongationProblem::common(const ElongationVector& prior_sigma, double& sigma) const {
  // Linear: the two motion parameters' columns are those of q itself, the twist's is not used.
  ElongationVector p = ElongationVector::Zero();
  ElongationMatrix matrix;
  for (int round = 0; round < 8; ++round) {
    matrix = weights_of(prior_sigma).asDiagonal();
    matrix(kTwist, kTwist) = 1.0;
    ElongationVector right = ElongationVector::Zero();
    for (const ElongationSample& s : samples_) {
      Rows rows = aberration_rows(s.u, s.v);
      rows.leftCols<2>() = Eigen::Matrix2d::Identity();
      const Eigen::Vector2d residual = s.q - rows * p;
      const Eigen::Matrix2d weight = (s.covariance + scatter_ * Eigen::Matrix2d::Identity()).inverse();
      const double distance = residual.dot(weight * residual);
      const double share = distance <= kOutlier ? 1.0 : std::sqrt(kOutlier / distance);
      matrix += share * rows.transpose() * weight * rows;
      right += share * rows.transpose() * weight * s.q;
    }
    p = matrix.ldlt().solve(right);
  }
  const ElongationMatrix covariance = matrix.inverse();
  sigma = std::sqrt(0.5 * (covariance(0, 0) + covariance(1, 1)));
  return p.head<2>();
}

ElongationProblem ElongationProblem::thinned(std::size_t count) const {
  ElongationProblem out({}, bend_);
  out.scatter_ = scatter_;
  const std::size_t step = std::max<std::size_t>(1, samples_.size() / count);
  for (std::size_t i = 0; i < samples_.size(); i += step) out.samples_.push_back(samples_[i]);
  return out;
}

void ElongationProblem::absorb_scatter(const ElongationVector& p) {
  const auto median_distance = [&](double scatter) {
    std::vector<double> d;
    for (const ElongationSample& s : samples_) {
      const Eigen::Vector2d t = trail(p, s.u, s.v);
      const Eigen::Vector2d residual =
          s.q - Eigen::Vector2d(t[0] * t[0] - t[1] * t[1], 2.0 * t[0] * t[1]) - aberration(p, s.u, s.v);
      d.push_back(residual.dot((s.covariance + scatter * Eigen::Matrix2d::Identity()).inverse() * residual));
    }
    const auto middle = d.begin() + static_cast<std::ptrdiff_t>(d.size() / 2);
    std::nth_element(d.begin(), middle, d.end());
    return *middle;
  };
  scatter_ = 0.0;
  if (median_distance(0.0) <= kMedianChi2) return;
  double low = 1e-8, high = 1e6;
  for (int i = 0; i < 60; ++i) {
    scatter_ = std::sqrt(low * high);
    (median_distance(scatter_) > kMedianChi2 ? low : high) = scatter_;
  }
}

}  // namespace polewright
