#include "stars/star_values.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)
constexpr double kShortestSwept = 0.7;                // per width; below, length and direction lose their meaning

Covariance2 covariance_of(const Eigen::Matrix2d& m) {
  return {m(0, 0), 0.5 * (m(0, 1) + m(1, 0)), m(1, 1)};
}

/// d(tx, ty)/d(q1, q2) of the root, and its inverse: multiplication by the complex numbers 1/(2t) and 2t.
Eigen::Matrix2d times(double re, double im) {
  return (Eigen::Matrix2d() << re, -im, im, re).finished();
}

}  // namespace

StarFit start_fit(PixelPoint middle, double sigma, double tx, double ty, int colours, double flux) {
  StarFit f;
  f.colours = colours;
  f.flux.fill(flux);
  const double length = std::hypot(tx, ty);
  if (length > kLongestCompact * sigma) {
    f.form = TrailForm::swept;
    f.shape = {middle.x, middle.y, sigma, tx, ty};
  } else {
    const TrailSquare q = square_of(tx, ty);
    f.shape = {middle.x, middle.y, std::sqrt(sigma * sigma + length * length / 24.0), q.q1, q.q2};
  }
  return f;
}

void trail_of(const StarFit& f, double& tx, double& ty) {
  if (f.form == TrailForm::swept) {
    tx = f.shape.trail_a;
    ty = f.shape.trail_b;
    if (tx < 0.0 || (tx == 0.0 && ty < 0.0)) tx = -tx, ty = -ty;
  } else {
    root_of({f.shape.trail_a, f.shape.trail_b}, tx, ty);
  }
}

double width_across(const StarFit& f) {
  if (f.form == TrailForm::swept) return f.shape.sigma;
  const double square = f.shape.sigma * f.shape.sigma;
  return std::sqrt(std::max(0.25 * square, square - std::hypot(f.shape.trail_a, f.shape.trail_b) / 24.0));
}

bool form_fits(const StarFit& f) {
  double tx = 0.0, ty = 0.0;
  trail_of(f, tx, ty);
  const double per_width = std::hypot(tx, ty) / width_across(f);
  return f.form == TrailForm::swept ? per_width > kShortestSwept : per_width < 1.3 * kLongestCompact;
}

StarFit with_other_form(const StarFit& f) {
  StarFit out = f;
  double tx = 0.0, ty = 0.0;
  trail_of(f, tx, ty);
  const double sigma = width_across(f);
  if (f.form == TrailForm::compact) {
    out.form = TrailForm::swept;
    out.shape.sigma = sigma;
    out.shape.trail_a = tx;
    out.shape.trail_b = ty;
  } else {
    const TrailSquare q = square_of(tx, ty);
    out.form = TrailForm::compact;
    out.shape.sigma = std::sqrt(sigma * sigma + (tx * tx + ty * ty) / 24.0);
    out.shape.trail_a = q.q1;
    out.shape.trail_b = q.q2;
  }
  return out;
}

void store_fit(const StarFit& fitted, bool free_shape, Star& s) {
  StarFit f = fitted;
  // A poor fit says that its errors are too small: by the root of its excess, the scatter of good fits (3σ) allowed
  // for.
  const double freedom = std::max(4, f.pixels - 6 - f.colours), excess = f.chi2 / freedom;
  if (excess > 1.0 + 3.0 * std::sqrt(2.0 / freedom)) f.covariance *= excess;
  s.position = {f.shape.x, f.shape.y};
  s.position_cov = {f.covariance(0, 0), f.covariance(0, 1), f.covariance(1, 1)};
  s.background += f.sky;
  if (f.colours == 1) {
    s.flux = f.flux[0];
    s.flux_sigma = std::sqrt(f.covariance(6, 6));
  } else {  // as many samples see green as red and blue together
    const Eigen::Vector3d share(0.25, 0.5, 0.25);
    s.flux = share.dot(Eigen::Map<const Eigen::Vector3d>(f.flux.data()));
    s.flux_sigma = std::sqrt(share.dot(f.covariance.block<3, 3>(6, 6) * share));
  }
  const double sigma = width_across(f);
  double tx = 0.0, ty = 0.0;
  trail_of(f, tx, ty);
  s.trail_x_px = tx;
  s.trail_y_px = ty;
  const TrailSquare q = square_of(tx, ty);
  s.trail_q1_px2 = q.q1;
  s.trail_q2_px2 = q.q2;
  const double length2 = tx * tx + ty * ty, mean2 = sigma * sigma + length2 / 24.0;
  const double held = 48.0 * mean2 / std::max(1.0, s.snr);  // background-limited error of q1 and q2 of a round image
  Eigen::Matrix2d block = f.covariance.block<2, 2>(3, 3);
  const bool swept = f.form == TrailForm::swept;
  Eigen::Matrix2d q_cov, t_cov;
  if (!free_shape) {
    q_cov = held * held * Eigen::Matrix2d::Identity();
  } else {
    const Eigen::Matrix2d to_q = times(2.0 * tx, 2.0 * ty);
    q_cov = swept ? Eigen::Matrix2d(to_q * block * to_q.transpose()) : block;
  }
  if (swept && free_shape) {
    t_cov = block;
  } else {
    // At zero length the root's derivative is infinite; the length is then known to the root of q's own error.
    const double length = std::sqrt(length2), floor = std::sqrt(std::sqrt(0.5 * q_cov.trace()));
    const double turn_x = length > 0.0 ? tx / length : 1.0, turn_y = length > 0.0 ? ty / length : 0.0;
    const Eigen::Matrix2d to_t = times(turn_x, -turn_y) * (0.5 / std::max(length, floor));
    t_cov = to_t * q_cov * to_t.transpose();
  }
  // The noise of q makes |q| too long on average, and what is left for the width too small.
  const double scattered = std::hypot(q.q1, q.q2);
  const double debiased = std::sqrt(std::max(0.0, scattered * scattered - q_cov.trace()));
  s.fwhm_px = kFwhmPerSigma * std::sqrt(sigma * sigma + (swept ? 0.0 : (scattered - debiased) / 24.0));
  s.trail_q_cov = covariance_of(q_cov);
  s.trail_cov = covariance_of(t_cov);
  s.moments = {sigma * sigma + (tx * tx + 1.0) / 12.0, tx * ty / 12.0, sigma * sigma + (ty * ty + 1.0) / 12.0};
  s.flags.fit_failed = false;
}

}  // namespace polewright
