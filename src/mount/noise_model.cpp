#include "mount/noise_model.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace polewright::mount_detail {
namespace {

constexpr double kOutlier2 = 36.0;    // beyond 6σ a measurement does not count at all in the covariance
constexpr double kTruncation2 = 9.0;  // scale estimates look at the inner 3σ
// Mean of a χ² variable of two degrees of freedom below kTruncation2, over 2: (2 − 11 e^−4.5)/(2 (1 − e^−4.5)).
const double kTruncatedShare = (2.0 - 11.0 * std::exp(-4.5)) / (2.0 * (1.0 - std::exp(-4.5)));
const double kMedianChi2 = 2.0 * std::log(2.0);
// Degrees of freedom of the belief that stated sigmas are right; matters with a dozen stars only.
constexpr double kScalePriorDof = 20.0;

/// Variance factor of values that are χ² of two degrees of freedom times it, whatever the outliers.
double variance_factor(std::vector<double> chi2) {
  if (chi2.empty()) return 1.0;
  const auto middle = chi2.begin() + static_cast<std::ptrdiff_t>(chi2.size() / 2);
  std::nth_element(chi2.begin(), middle, chi2.end());
  double factor = std::max(*middle / kMedianChi2, 1e-12);
  for (int i = 0; i < 4; ++i) {
    double sum = 0.0, count = 0.0;
    for (const double c : chi2)
      if (c < kTruncation2 * factor) sum += c, count += 1.0;
    if (count > 0.0) factor = std::max(sum / (2.0 * count * kTruncatedShare), 1e-12);
  }
  return factor;
}

/// Shared error from the stars' mean residuals, whose variance beyond the measurement is what stars have in common.
double estimate_common(const NoiseModel& noise, const CommonSums& sums, double lost_dof) {
  std::vector<double> size2, own;
  for (std::size_t c = 0; c < sums.count.size(); ++c) {
    if (sums.count[c] == 0 || sums.information[c].determinant() <= 0.0) continue;
    const Eigen::Matrix2d cov = sums.information[c].inverse();
    size2.push_back((cov * sums.moment[c]).squaredNorm());
    own.push_back(0.5 * cov.trace());
  }
  if (size2.size() < 10) return noise.common_error_px;
  const double dof = 2.0 * static_cast<double>(size2.size());
  const double dof_factor = dof / std::max(dof - lost_dof, 0.25 * dof);
  double variance = noise.common_error_px * noise.common_error_px;
  for (int pass = 0; pass < 8; ++pass) {
    std::vector<double> chi2(size2.size());
    double weights = 0.0, mean_own = 0.0;
    for (std::size_t i = 0; i < chi2.size(); ++i) {
      chi2[i] = size2[i] / (own[i] + variance);
      const double w = 1.0 / ((own[i] + variance) * (own[i] + variance));
      weights += w;
      mean_own += w * own[i];
    }
    mean_own /= weights;
    // Stars sharing one variance factor: total variance of a typical star, less its own.
    variance = std::max(0.0, variance_factor(chi2) * dof_factor * (mean_own + variance) - mean_own);
  }
  return std::sqrt(variance);
}

void weigh_commons(NoiseModel& noise, const CommonSums& sums, const std::vector<Eigen::Matrix2d>& cov, double c2) {
  if (noise.common_error_px <= 0.0) return;
  const double variance = noise.common_error_px * noise.common_error_px;
  for (std::size_t c = 0; c < cov.size(); ++c) {
    const Eigen::Vector2d error = cov[c] * sums.moment[c];
    const double expected = std::max(variance - 0.5 * cov[c].trace(), 1e-3 * variance);
    noise.common_weight[c] = 1.0 / (1.0 + error.squaredNorm() / (expected * c2));
  }
}

/// Loss of the Cauchy weights on Gaussian residuals, by Simpson's rule over χ² of two degrees of freedom.
double clean_variance_factor(double c2) {
  constexpr int steps = 100;
  constexpr double range = 40.0;
  double psi2 = 0.0, slope = 0.0;
  for (int i = 0; i <= steps; ++i) {
    const double u2 = range * i / steps, w = 1.0 / (1.0 + u2 / c2);
    const double p = 0.5 * std::exp(-0.5 * u2) *
                     (i == 0 || i == steps ? 1.0
                      : i % 2              ? 4.0
                                           : 2.0) *
                     range / (3.0 * steps);
    psi2 += p * 0.5 * u2 * w * w;
    slope += p * (w - u2 * w * w / c2);
  }
  return psi2 / (slope * slope);
}

/// Stated information on each shared error, per axis, as if nothing were an outlier.
std::vector<double> stated_information(const StarData& data, const Terms& terms) {
  std::vector<double> information(data.commons, 0.0);
  for (std::size_t f = 0; f < data.frames.size(); ++f)
    for (std::size_t i = 0; i < data.frames[f].size(); ++i)
      if (terms[f][i].valid) information[data.frames[f][i].common] += 0.5 * data.frames[f][i].information.trace();
  return information;
}

void weigh(NoiseModel& noise, const StarData& data, const Terms& terms, const CommonSums& sums, double robust_scale) {
  const double c2 = robust_scale * robust_scale, scale2 = noise.scale * noise.scale;
  const double prior2 = noise.common_error_px * noise.common_error_px;
  std::vector<Eigen::Matrix2d> cov(data.commons);
  for (std::size_t c = 0; c < data.commons; ++c) cov[c] = common_covariance(noise, sums, c);
  const std::vector<double> stated = stated_information(data, terms);
  double psi2 = 0.0, slope = 0.0, count = 0.0;
  for (std::size_t f = 0; f < data.frames.size(); ++f)
    for (std::size_t i = 0; i < data.frames[f].size(); ++i) {
      if (!terms[f][i].valid) continue;
      const Observation& o = data.frames[f][i];
      // The shared error follows its observations and takes their share of it off the residual's variance. The share
      // is that of a star without outliers: judged by what the present weights leave, two observations that disagree
      // would swing between good and bad for ever.
      const double own = 0.5 * o.information.trace();
      const double taken = prior2 > 0.0 ? own / (stated[o.common] + scale2 / prior2) : 0.0;
      const Eigen::Vector2d left = terms[f][i].residual_px - cov[o.common] * sums.moment[o.common];
      const double u2 = left.dot(o.information * left) / scale2 / std::max(1.0 - taken, 1e-3);
      const double w = 1.0 / (1.0 + u2 / c2);
      noise.deviation2[f][i] = u2;
      noise.weight[f][i] = w;
      if (u2 >= kOutlier2) continue;
      psi2 += 0.5 * u2 * w * w;
      slope += w - u2 * w * w / c2;
      count += 1.0;
    }
  weigh_commons(noise, sums, cov, c2);
  // Where observations share an error their residuals understate the loss; it is never below that of clean stars.
  const double clean = clean_variance_factor(c2);
  noise.robust_variance_factor = count > 20.0 ? std::max(clean, psi2 * count / (slope * slope)) : clean;
}

/// Scatter over stated sigmas. Where stars are seen more than once it comes from the differences between their
/// observations alone, whatever they share; the two could not be told apart otherwise.
double estimate_scale(const NoiseModel& noise, const StarData& data, const Terms& terms, const CommonSums& sums,
                      int free_parameters) {
  std::vector<double> repeated, all;
  double repeated_dof = 0.0;
  for (const int n : sums.count)
    if (n > 1) repeated_dof += 2.0 * (n - 1);
  for (std::size_t f = 0; f < data.frames.size(); ++f)
    for (std::size_t i = 0; i < data.frames[f].size(); ++i) {
      if (!terms[f][i].valid) continue;
      const Observation& o = data.frames[f][i];
      all.push_back(noise.deviation2[f][i] * noise.scale * noise.scale);
      if (sums.count[o.common] < 2) continue;
      const Eigen::Vector2d left = terms[f][i].residual_px - sums.mean[o.common];
      repeated.push_back(left.dot(o.information * left) * sums.count[o.common] / (sums.count[o.common] - 1.0));
    }
  const bool separable = repeated_dof > 40.0;
  const double full = separable ? repeated_dof : 2.0 * static_cast<double>(all.size());
  const double dof = std::max(full - free_parameters, 0.25 * full);
  const double factor = variance_factor(separable ? repeated : all) * full / dof;
  const double variance = (dof * factor + kScalePriorDof) / (dof + kScalePriorDof);
  return std::sqrt(separable ? variance : std::min(1.0, variance));
}

}  // namespace

NoiseModel unit_noise(const StarData& data) {
  NoiseModel noise;
  for (const auto& frame : data.frames) {
    noise.deviation2.emplace_back(frame.size(), 0.0);
    noise.weight.emplace_back(frame.size(), 1.0);
  }
  noise.common_weight.assign(data.commons, 1.0);
  return noise;
}

double observation_weight(const NoiseModel& noise, std::size_t frame, std::size_t star, bool final_weights) {
  const double scale2 = noise.scale * noise.scale;
  if (!final_weights) return noise.weight[frame][star] / scale2;
  return noise.deviation2[frame][star] < kOutlier2 ? 1.0 / (scale2 * noise.robust_variance_factor) : 0.0;
}

CommonSums sum_commons(const NoiseModel& noise, const StarData& data, const Terms& terms, bool final_weights) {
  CommonSums sums{std::vector<Eigen::Matrix2d>(data.commons, Eigen::Matrix2d::Zero()),
                  std::vector<Eigen::Vector2d>(data.commons, Eigen::Vector2d::Zero()),
                  std::vector<Eigen::Vector2d>(data.commons, Eigen::Vector2d::Zero()),
                  std::vector<int>(data.commons, 0)};
  for (std::size_t f = 0; f < data.frames.size(); ++f)
    for (std::size_t i = 0; i < data.frames[f].size(); ++i) {
      if (!terms[f][i].valid) continue;
      const Observation& o = data.frames[f][i];
      const double w = observation_weight(noise, f, i, final_weights);
      sums.information[o.common] += w * o.information;
      sums.moment[o.common] += w * (o.information * terms[f][i].residual_px);
      sums.mean[o.common] += terms[f][i].residual_px;
      ++sums.count[o.common];
    }
  for (std::size_t c = 0; c < data.commons; ++c)
    if (sums.count[c] > 0) sums.mean[c] /= sums.count[c];
  return sums;
}

Eigen::Matrix2d common_covariance(const NoiseModel& noise, const CommonSums& sums, std::size_t common) {
  if (noise.common_error_px <= 0.0 || sums.count[common] == 0) return Eigen::Matrix2d::Zero();
  const double prior = noise.common_weight[common] / (noise.common_error_px * noise.common_error_px);
  return (sums.information[common] + prior * Eigen::Matrix2d::Identity()).inverse();
}

void update_noise(NoiseModel& noise, const StarData& data, const Terms& terms, const NoiseOptions& options,
                  int free_parameters, double share_of_old) {
  const auto blend = [&](double old_value, double new_value) {
    return std::sqrt(share_of_old * old_value * old_value + (1.0 - share_of_old) * new_value * new_value);
  };
  const double old_scale = noise.scale, old_common = noise.common_error_px;
  for (int pass = 0; pass < 2; ++pass) {
    const CommonSums sums = sum_commons(noise, data, terms, false);
    weigh(noise, data, terms, sums, options.robust_scale);
    noise.scale = std::max(1e-3, blend(old_scale, estimate_scale(noise, data, terms, sums, free_parameters)));
    noise.common_error_px = options.common_error_px.value_or(blend(old_common, estimate_common(noise, sums, 8.0)));
  }
}

}  // namespace polewright::mount_detail
