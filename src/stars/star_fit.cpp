#include "stars/star_fit.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

#include "stars/row_kernels.hpp"

namespace polewright {
namespace {

using FitVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxParameters, 1>;
using Jacobian = Eigen::Matrix<float, Eigen::Dynamic, Eigen::Dynamic, 0, Eigen::Dynamic, kMaxParameters>;
constexpr int kShapeParameters = 5, kSky = 5, kFlux = 6;

/// Buffers that one thread uses for all its fits.
struct Workspace {
  ProfilePlanes planes, trial;
  Jacobian jacobian;
  Eigen::VectorXf weight, model, residual;
};

Workspace& workspace() {
  static thread_local Workspace w;
  return w;
}

FitVector vector_of(const StarFit& f) {
  FitVector p(kFlux + f.colours);
  p << f.shape.x, f.shape.y, f.shape.sigma, f.shape.trail_a, f.shape.trail_b, f.sky,
      Eigen::Map<const Eigen::VectorXd>(f.flux.data(), f.colours);
  return p;
}

void assign(const FitVector& p, StarFit& f) {
  f.shape = {p[0], p[1], p[2], p[3], p[4]};
  f.sky = p[kSky];
  for (int c = 0; c < f.colours; ++c) f.flux[static_cast<std::size_t>(c)] = p[kFlux + c];
}

/// The fit of one star: data, priors, and the state of the iteration.
class Problem {
 public:
  Problem(const FitPixels& pixels, const FitPriors& priors, TrailForm form, const Wings& wings)
      : d_(pixels), form_(form), wings_(wings), w_(workspace()) {
    n_ = pixels.spans.pixels;
    prior_weight_.setZero(kFlux + pixels.colours);
    prior_mean_.setZero(kFlux + pixels.colours);
    const auto hold = [&](int i, double mean, double spread) {
      prior_mean_[i] = mean;
      prior_weight_[i] = spread > 0.0 ? 1.0 / (spread * spread) : 1e12;
    };
    hold(2, priors.sigma, priors.sigma_spread);
    if (priors.trail_spread) {
      hold(3, priors.trail_a, *priors.trail_spread);
      hold(4, priors.trail_b, *priors.trail_spread);
    }
  }

  /// Profile and model at p into the trial buffers.
  void evaluate(const FitVector& p) {
    evaluate_profile({p[0], p[1], p[2], p[3], p[4]}, form_, wings_, d_.spans, w_.trial);
    w_.model.resize(n_);
    for (int i = 0; i < n_; ++i) {
      const auto k = static_cast<std::size_t>(i);
      w_.model[i] =
          static_cast<float>(p[kFlux + d_.colour[k]]) * w_.trial(i, 0) + static_cast<float>(p[kSky]) * d_.sky_share[k];
    }
  }
  /// Cost of the trial under the weights in force.
  [[nodiscard]] double cost(const FitVector& p) const {
    double sum = 0.0;
    for (int i = 0; i < n_; ++i) {
      const double r = static_cast<double>(d_.value[static_cast<std::size_t>(i)] - w_.model[i]);
      sum += static_cast<double>(w_.weight[i]) * r * r;
    }
    return sum + prior_cost(p);
  }
  [[nodiscard]] double prior_cost(const FitVector& p) const {
    return (prior_weight_.array() * (p - prior_mean_).array().square()).sum();
  }
  /// Makes the trial current: weights from its model, normal equations from its derivatives.
  void accept(const FitVector& p) {
    w_.planes.swap(w_.trial);
    w_.weight.resize(n_);
    w_.residual.resize(n_);
    w_.jacobian.setZero(n_, p.size());
    for (int i = 0; i < n_; ++i) {
      const auto k = static_cast<std::size_t>(i);
      const auto flux = static_cast<float>(p[kFlux + d_.colour[k]]);
      const float light = std::max(0.0F, flux * w_.planes(i, 0)), off = d_.mismatch * light;
      w_.weight[i] = 1.0F / (d_.sky_variance[k] + d_.gain[k] * light + off * off);
      const float root = std::sqrt(w_.weight[i]);
      w_.residual[i] = root * (d_.value[k] - w_.model[i]);
      for (int q = 0; q < kShapeParameters; ++q) w_.jacobian(i, q) = root * flux * w_.planes(i, q + 1);
      w_.jacobian(i, kSky) = root * d_.sky_share[k];
      w_.jacobian(i, kFlux + d_.colour[k]) = root * w_.planes(i, 0);
    }
    normal_.resize(p.size(), p.size());
    gradient_.resize(p.size());
    for (Eigen::Index a = 0; a < p.size(); ++a) {
      for (Eigen::Index b = 0; b <= a; ++b)
        normal_(a, b) = normal_(b, a) =
            static_cast<double>(dot(w_.jacobian.col(a).data(), w_.jacobian.col(b).data(), n_));
      gradient_[a] = static_cast<double>(dot(w_.jacobian.col(a).data(), w_.residual.data(), n_));
    }
    chi2_ = static_cast<double>(w_.residual.squaredNorm());
    normal_.diagonal() += prior_weight_;
    gradient_.array() += prior_weight_.array() * (prior_mean_ - p).array();
  }
  [[nodiscard]] FitVector step(double damping) const {
    FitMatrix damped = normal_;
    damped.diagonal() *= 1.0 + damping;
    return damped.ldlt().solve(gradient_);
  }
  /// True when a step moves nothing by a noticeable part of its error.
  [[nodiscard]] bool is_negligible(const FitVector& step) const {
    constexpr double kNoticeable = 0.02;
    return (step.array().square() * normal_.diagonal().array()).maxCoeff() < kNoticeable * kNoticeable;
  }
  [[nodiscard]] bool covariance(FitMatrix& out) const {
    // Scaled to unit diagonal first: amplitudes and widths differ by orders of magnitude.
    const FitVector scale = normal_.diagonal().cwiseSqrt().cwiseInverse();
    const FitMatrix scaled = scale.asDiagonal() * normal_ * scale.asDiagonal();
    const Eigen::LLT<FitMatrix> factor(scaled);
    if (factor.info() != Eigen::Success) return false;
    const FitMatrix inverse = factor.solve(FitMatrix::Identity(scaled.rows(), scaled.cols()));
    out = scale.asDiagonal() * inverse * scale.asDiagonal();
    return out.allFinite();
  }
  [[nodiscard]] double chi2() const { return chi2_; }
  [[nodiscard]] double deviance() const {
    double sum = chi2_;
    for (int i = 0; i < n_; ++i)
      if (w_.weight[i] > 0.0F) sum -= std::log(static_cast<double>(w_.weight[i]));
    return sum;
  }

 private:
  const FitPixels& d_;
  TrailForm form_;
  const Wings& wings_;
  Workspace& w_;
  int n_ = 0;
  FitVector prior_weight_, prior_mean_;
  FitMatrix normal_;
  FitVector gradient_;
  double chi2_ = 0.0;
};

bool sensible(const FitVector& p, const StarFit& start) {
  const double free_px = 2.0 + start.shape.sigma;
  return p.allFinite() && std::abs(p[0] - start.shape.x) < free_px && std::abs(p[1] - start.shape.y) < free_px &&
         p[2] > 0.2 && p[2] < 4.0 * start.shape.sigma;
}

}  // namespace

std::optional<StarFit> fit_star(const FitPixels& pixels, const StarFit& start, const FitPriors& priors,
                                const Wings& wings) {
  constexpr int kMaxIterations = 30;
  Problem problem(pixels, priors, start.form, wings);
  FitVector p = vector_of(start);
  problem.evaluate(p);
  problem.accept(p);
  double damping = 1e-3;
  StarFit fit = start;
  for (int iteration = 1; iteration <= kMaxIterations; ++iteration) {
    const FitVector step = problem.step(damping);
    const FitVector next = p + step;
    if (!sensible(next, start)) {
      damping = std::max(1e-2, 10.0 * damping);
      if (damping > 1e6) return {};
      continue;
    }
    problem.evaluate(next);
    fit.iterations = iteration;
    if (problem.cost(next) <= (problem.chi2() + problem.prior_cost(p)) * (1.0 + 1e-6)) {
      p = next;
      problem.accept(p);
      damping = std::max(1e-6, 0.1 * damping);
      if (problem.is_negligible(step)) {
        assign(p, fit);
        fit.chi2 = problem.chi2();
        fit.deviance = problem.deviance();
        fit.pixels = pixels.spans.pixels;
        if (!problem.covariance(fit.covariance)) return {};
        return fit;
      }
    } else {
      damping *= 10.0;
      if (damping > 1e8) return {};
    }
  }
  return {};
}

void subtract_star(const StarFit& neighbour, const Wings& wings, FitPixels& pixels) {
  ProfilePlanes& planes = workspace().trial;
  evaluate_profile(neighbour.shape, neighbour.form, wings, pixels.spans, planes, false);
  for (int i = 0; i < pixels.spans.pixels; ++i) {
    const auto k = static_cast<std::size_t>(i);
    const auto c = static_cast<std::size_t>(std::min<int>(pixels.colour[k], neighbour.colours - 1));
    pixels.value[k] -= static_cast<float>(neighbour.flux[c]) * planes(i, 0);
  }
}

FitResiduals residuals_of(const FitPixels& pixels, const StarFit& fit, const Wings& wings) {
  const FitPriors no_priors{fit.shape.sigma, 1e9, 0.0, 0.0, std::nullopt};
  Problem problem(pixels, no_priors, fit.form, wings);
  const FitVector p = vector_of(fit);
  problem.evaluate(p);
  problem.accept(p);
  const Workspace& w = workspace();
  FitResiduals out;
  const int n = pixels.spans.pixels;
  out.residual.resize(n);
  out.light.resize(n);
  const Eigen::MatrixXf covariance = fit.covariance.cast<float>();
  out.weight = w.weight;
  out.leverage = (w.jacobian * covariance).cwiseProduct(w.jacobian).rowwise().sum();
  for (int i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    out.residual[i] = pixels.value[k] - w.model[i];
    out.light[i] = static_cast<float>(p[kFlux + pixels.colour[k]]) * w.planes(i, 0);
  }
  return out;
}

FitMatrix sided_covariance(const FitPixels& pixels, const StarFit& fit, const Wings& wings, int sectors) {
  const FitPriors no_priors{fit.shape.sigma, 1e9, 0.0, 0.0, std::nullopt};
  Problem problem(pixels, no_priors, fit.form, wings);
  const FitVector p = vector_of(fit);
  problem.evaluate(p);
  problem.accept(p);
  const Workspace& w = workspace();
  std::vector<FitVector> score(static_cast<std::size_t>(sectors), FitVector::Zero(p.size()));
  Eigen::Index i = 0;
  for (std::size_t row = 0; row < pixels.spans.rows.size(); ++row)
    for (int x = pixels.spans.rows[row].x0; x < pixels.spans.rows[row].x1; ++x, ++i) {
      const double angle = std::atan2(pixels.spans.y0 + static_cast<double>(row) - fit.shape.y, x - fit.shape.x);
      const int side = std::min(sectors - 1, static_cast<int>((angle / (2.0 * M_PI) + 0.5) * sectors));
      score[static_cast<std::size_t>(side)] +=
          (w.residual[i] * w.jacobian.row(i).head(p.size()).transpose()).cast<double>();
    }
  FitMatrix out = fit.covariance;
  FitMatrix seen = FitMatrix::Zero(p.size(), p.size());
  for (const FitVector& s : score) {
    const FitVector moved = fit.covariance * s;
    seen += moved * moved.transpose();
  }
  // Position, light and sky have taken their share of the disagreement.
  constexpr double kFollowed = 4.0;
  seen *= sectors / (sectors - kFollowed);
  for (Eigen::Index k = 0; k < p.size(); ++k) {
    const double widen = std::sqrt(std::max(1.0, seen(k, k) / std::max(1e-300, fit.covariance(k, k))));
    out.row(k) *= widen;
    out.col(k) *= widen;
  }
  return out;
}

}  // namespace polewright
