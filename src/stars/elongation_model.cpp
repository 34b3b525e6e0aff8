#include "stars/elongation_model.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "stars/profile.hpp"

namespace polewright {
namespace {

constexpr double kOutlier = 9.0;         // squared distance beyond which a star counts less and less
constexpr double kMedianChi2 = 1.38629;  // median of χ² with two degrees of freedom
constexpr int kParts = 5;                // of the frame each way: fine enough for 25 independent scores

using Rows = Eigen::Matrix<double, 2, kElongationParameters>;

/// Unit aberrations: columns from kTiltA to kRadial6.
Rows aberration_rows(double u, double v) {
  const double a = u * u - v * v, b = 2.0 * u * v, r2 = u * u + v * v;
  Rows rows = Rows::Zero();
  rows.col(kTiltA) << u, v;
  rows.col(kTiltB) << -v, u;
  rows.col(kRadial2) << a, b;
  rows.col(kRadial4) = r2 * rows.col(kRadial2);
  rows.col(kRadial6) = r2 * rows.col(kRadial4);
  return rows;
}

/// (tx, ty) from (x, y, twist): the pinhole motion of motion_field.hpp.
Eigen::Matrix<double, 2, 3> trail_rows(double u, double v, double bend) {
  Eigen::Matrix<double, 2, 3> rows;
  rows << 1.0 + bend * u * u, bend * u * v, v, bend * u * v, 1.0 + bend * v * v, -u;
  return rows;
}

/// Multiplication by a plane vector as a complex number.
Eigen::Matrix2d times(const Eigen::Vector2d& z) {
  return (Eigen::Matrix2d() << z[0], -z[1], z[1], z[0]).finished();
}

ElongationVector weights_of(const ElongationVector& prior_sigma) {
  ElongationVector weight = ElongationVector::Zero();
  for (Eigen::Index i = 0; i < kElongationParameters; ++i)
    if (prior_sigma[i] > 0.0) weight[i] = 1.0 / (prior_sigma[i] * prior_sigma[i]);
  return weight;
}

}  // namespace

/// One star's residual and its derivatives, in units of its error.
struct ElongationProblem::Whitened {
  Rows rows;
  Eigen::Vector2d residual;
  double share = 1.0;  ///< Huber's weight
};

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

ElongationProblem::Whitened ElongationProblem::whitened(const ElongationSample& s, const ElongationVector& p,
                                                        MotionForm form) const {
  Whitened w;
  w.rows = aberration_rows(s.u, s.v);
  Eigen::Vector2d model = w.rows * p;
  if (form == MotionForm::square) {
    w.rows.leftCols<2>() = Eigen::Matrix2d::Identity();
    model += p.head<2>();
  } else {
    const double r2 = s.u * s.u + s.v * s.v, response = 1.0 + p[kResponse] * r2;
    const Eigen::Matrix<double, 2, 3> motion = trail_rows(s.u, s.v, bend_);
    const Eigen::Vector2d t = motion * p.head<3>(), square = times(t) * t;
    w.rows.leftCols<3>() = 2.0 * response * times(t) * motion;
    w.rows.col(kResponse) = r2 * square;
    model += response * square;
  }
  w.residual = s.q - model;
  Eigen::Matrix2d covariance = s.covariance;
  double tx = 0.0, ty = 0.0;
  root_of({model[0], model[1]}, tx, ty);
  const Eigen::Vector2d root(tx, ty);
  const double sense = root.dot(s.trail) < 0.0 ? -1.0 : 1.0, length = root.norm();
  Eigen::Matrix2d scatter = scatter_ * Eigen::Matrix2d::Identity();
  if (length > long_px_ && s.trail.norm() > 0.3 * length) {
    // q − model = (t + root)·(t − root): the difference of trails itself.
    w.residual = times(sense * s.trail + root).inverse() * w.residual;
    w.rows = (0.5 * times(root).inverse() * w.rows).eval();
    covariance = s.trail_covariance;
    scatter /= 4.0 * length * length;
  }
  const Eigen::LLT<Eigen::Matrix2d> factor(covariance + scatter);
  factor.matrixL().solveInPlace(w.residual);
  w.rows = factor.matrixL().solve(w.rows).eval();
  const double distance = w.residual.squaredNorm();
  w.share = distance <= kOutlier ? 1.0 : std::sqrt(kOutlier / distance);
  return w;
}

ElongationProblem::Normal ElongationProblem::normal_at(const ElongationVector& p,
                                                       const ElongationChoice& choice) const {
  const ElongationVector prior_weight = weights_of(choice.prior_sigma);
  Normal n;
  for (const ElongationSample& s : samples_) {
    const Whitened w = whitened(s, p, choice.form);
    const double distance = w.residual.squaredNorm();
    // Huber's loss on the distance: quadratic inside, linear outside.
    n.cost += distance <= kOutlier ? distance : 2.0 * std::sqrt(kOutlier * distance) - kOutlier;
    n.matrix.noalias() += w.share * w.rows.transpose() * w.rows;
    n.gradient.noalias() += w.share * w.rows.transpose() * w.residual;
  }
  n.cost += (prior_weight.array() * p.array().square()).sum();
  n.matrix.diagonal() += prior_weight;
  n.gradient.array() -= prior_weight.array() * p.array();
  for (Eigen::Index i = 0; i < kElongationParameters; ++i)
    if (!choice.free[static_cast<std::size_t>(i)]) {
      n.matrix.row(i).setZero();
      n.matrix.col(i).setZero();
      n.gradient[i] = 0.0;
    }
  return n;
}

ElongationFit ElongationProblem::fit(const ElongationVector& start, const ElongationChoice& choice) const {
  ElongationFit result;
  result.parameters = start;
  Normal now = normal_at(start, choice);
  double damping = 1e-3;
  for (int iteration = 0; iteration < 40 && damping < 1e8; ++iteration) {
    ElongationMatrix damped = now.matrix;
    for (Eigen::Index i = 0; i < kElongationParameters; ++i) damped(i, i) += damping * now.matrix(i, i) + 1e-12;
    const ElongationVector step = damped.ldlt().solve(now.gradient);
    const Normal next = normal_at(result.parameters + step, choice);
    if (!(next.cost <= now.cost)) {
      damping *= 10.0;
      continue;
    }
    result.parameters += step;
    const bool done = now.cost - next.cost < 1e-3;
    now = next;
    damping = std::max(1e-9, 0.1 * damping);
    if (done) break;
  }
  result.chi2 = now.cost;
  return result;
}

ElongationMatrix ElongationProblem::covariance(const ElongationVector& p, const ElongationChoice& choice) const {
  ElongationMatrix information = normal_at(p, choice).matrix;
  for (Eigen::Index i = 0; i < kElongationParameters; ++i)
    if (information(i, i) == 0.0) information(i, i) = 1e12;  // held
  const ElongationVector scale = information.diagonal().cwiseSqrt().cwiseInverse();
  const ElongationMatrix scaled = scale.asDiagonal() * information * scale.asDiagonal();
  const ElongationMatrix noise = scale.asDiagonal() * scaled.inverse() * scale.asDiagonal();
  std::array<ElongationVector, kParts * kParts> scores;
  scores.fill(ElongationVector::Zero());
  double extent_u = 1e-9, extent_v = 1e-9;
  for (const ElongationSample& s : samples_) {
    extent_u = std::max(extent_u, std::abs(s.u));
    extent_v = std::max(extent_v, std::abs(s.v));
  }
  const auto part = [](double at, double extent) {
    return std::min(kParts - 1, static_cast<int>((0.5 + 0.5 * at / extent) * kParts));
  };
  for (const ElongationSample& s : samples_) {
    const Whitened w = whitened(s, p, choice.form);
    scores[static_cast<std::size_t>(kParts * part(s.v, extent_v) + part(s.u, extent_u))] +=
        w.share * w.rows.transpose() * w.residual;
  }
  ElongationMatrix seen = ElongationMatrix::Zero();
  for (ElongationVector score : scores) {
    for (Eigen::Index i = 0; i < kElongationParameters; ++i)
      if (!choice.free[static_cast<std::size_t>(i)]) score[i] = 0.0;
    const ElongationVector moved = noise * score;
    seen += moved * moved.transpose();
  }
  // Along each direction in which the parts disagree by more than noise makes 25 of them, what is more is added.
  constexpr double kByNoise = 1.3;  // three directions' mean excess without misfit is then a tenth
  const Eigen::LLT<ElongationMatrix> root(noise);
  const ElongationMatrix half = root.matrixL();
  ElongationMatrix ratio = root.matrixL().solve(seen);
  ratio = root.matrixL().solve(ratio.transpose().eval()).eval();
  const Eigen::Matrix3d motion_ratio = ratio.topLeftCorner<3, 3>();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> axes(motion_ratio);
  const Eigen::Vector3d more = (axes.eigenvalues().array() - kByNoise).cwiseMax(0.0);
  const Eigen::Matrix3d excess = axes.eigenvectors() * more.asDiagonal() * axes.eigenvectors().transpose();
  ElongationMatrix out = noise;
  const Eigen::Matrix3d half3 = half.topLeftCorner<3, 3>();
  out.topLeftCorner<3, 3>() += half3 * excess * half3.transpose();
  return out;
}

ElongationProblem ElongationProblem::thinned(std::size_t count) const {
  ElongationProblem out({}, bend_, long_px_);
  out.scatter_ = scatter_;
  const std::size_t step = std::max<std::size_t>(1, samples_.size() / count);
  for (std::size_t i = 0; i < samples_.size(); i += step) out.samples_.push_back(samples_[i]);
  return out;
}

void ElongationProblem::absorb_scatter(const ElongationVector& p) {
  const auto median_distance = [&](double scatter) {
    scatter_ = scatter;
    std::vector<double> d;
    for (const ElongationSample& s : samples_) d.push_back(whitened(s, p, MotionForm::trail).residual.squaredNorm());
    const auto middle = d.begin() + static_cast<std::ptrdiff_t>(d.size() / 2);
    std::nth_element(d.begin(), middle, d.end());
    return *middle;
  };
  if (median_distance(0.0) <= kMedianChi2) return;
  double low = 1e-8, high = 1e6;
  for (int i = 0; i < 40; ++i) {
    const double middle = std::sqrt(low * high);
    (median_distance(middle) > kMedianChi2 ? low : high) = middle;
  }
  scatter_ = std::sqrt(low * high);
}

}  // namespace polewright
