#include "mount/attitude_fit.hpp"

#include <Eigen/Cholesky>
#include <cmath>

#include "base/parallel.hpp"
#include "mount/linear.hpp"
#include "mount/normal_equations.hpp"

namespace polewright::mount_detail {
namespace {

// A frame without stars keeps its start attitude to this; with two stars it no longer matters.
constexpr double kAttitudePrior_rad = 0.1;

using LensVector = Eigen::Matrix<double, kLensParameters, 1>;

LensVector lens_vector(const LensModel& lens) {
  return {lens.focal_px, lens.principal_point.x, lens.principal_point.y, lens.k1, lens.k2};
}

LensModel with_lens_vector(LensModel lens, const LensVector& v) {
  lens.focal_px = v[0];
  lens.principal_point = {v[1], v[2]};
  lens.k1 = v[3];
  lens.k2 = v[4];
  return lens;
}

Terms all_terms(const StarData& data, const PictureState& state, int threads) {
  Terms terms(data.frames.size());
  parallel_for(data.frames.size(), threads, [&](std::size_t f) {
    terms[f].reserve(data.frames[f].size());
    for (const Observation& o : data.frames[f]) terms[f].push_back(star_term(state, f, o));
  });
  return terms;
}

/// Data that no attitude can be made of (a lens without focal length, …): every frame is without usable stars.
AttitudeFit no_fit(AttitudeFit fit, Eigen::Index frames) {
  const Eigen::Index n = 3 * frames + kLensParameters;
  fit.covariance = Eigen::MatrixXd::Identity(n, n);
  fit.residual_rms_px.assign(static_cast<std::size_t>(frames), 0.0);
  fit.stars_used.assign(static_cast<std::size_t>(frames), 0);
  return fit;
}

// Cauchy weight at 2.5 of a shared error six times its usual size: a stale place, not a sign of how good the frame is.
constexpr double kStaleWeight = 0.15;

/// Of the stars that are neither outliers nor in a stale place.
void describe_residuals(AttitudeFit& fit, const StarData& data, const Terms& terms) {
  for (std::size_t f = 0; f < data.frames.size(); ++f) {
    double sum = 0.0;
    int used = 0, fresh = 0;
    for (std::size_t i = 0; i < data.frames[f].size(); ++i) {
      if (!terms[f][i].valid || observation_weight(fit.noise, f, i, true) == 0.0) continue;
      ++used;
      if (fit.noise.common_weight[data.frames[f][i].common] < kStaleWeight) continue;
      sum += terms[f][i].residual_px.squaredNorm();
      ++fresh;
    }
    fit.stars_used.push_back(used);
    fit.residual_rms_px.push_back(fresh > 0 ? std::sqrt(sum / (2.0 * fresh)) : 0.0);
  }
}

}  // namespace

LensVector lens_prior_information(const LensModel& start, const LensPrior& p, int width_px) {
  const double centre = p.principal_point_of_width * width_px;
  return LensVector(p.focal_relative * start.focal_px, centre, centre, p.k1, p.k2).cwiseAbs2().cwiseInverse();
}

AttitudeFit fit_attitudes(const StarData& data, PictureState start, const AttitudeFitOptions& options) {
  AttitudeFit fit;
  const auto frames = static_cast<Eigen::Index>(data.frames.size());
  const Eigen::Index turns = 3 * frames;
  const LensVector start_lens = lens_vector(start.lens),
                   prior = lens_prior_information(start.lens, options.lens_prior, options.width_px);
  fit.state = std::move(start);
  fit.noise = unit_noise(data);
  if (options.noise.common_error_px) fit.noise.common_error_px = *options.noise.common_error_px;

  const auto add_priors = [&](NormalEquations& eq) {
    eq.information.diagonal().head(turns).array() += 1.0 / (kAttitudePrior_rad * kAttitudePrior_rad);
    eq.information.diagonal().tail<kLensParameters>() += prior;
    eq.moment.tail<kLensParameters>() += prior.cwiseProduct(start_lens - lens_vector(fit.state.lens));
  };
  const int spent = static_cast<int>(std::max<Eigen::Index>(turns - 3, 3));
  Terms terms = all_terms(data, fit.state, options.threads);
  for (int iteration = 0; iteration < options.max_iterations && !fit.converged; ++iteration) {
    // Free while the attitudes are still pixels off, then settling; held at last, whatever the data.
    const double share_of_old = iteration < 5 ? 0.0 : iteration < 12 ? 0.5 : 1.0;
    update_noise(fit.noise, data, terms, options.noise, spent, share_of_old);
    NormalEquations eq = sum_normal_equations(data, terms, fit.noise, false);
    add_priors(eq);
    const Eigen::VectorXd step = eq.information.llt().solve(eq.moment);
    if (!step.allFinite()) return no_fit(std::move(fit), frames);
    for (Eigen::Index f = 0; f < frames; ++f) {
      auto& attitude = fit.state.camera_from_enu[static_cast<std::size_t>(f)];
      attitude = rotation_by(step.segment<3>(3 * f)) * attitude;
    }
    fit.state.lens = with_lens_vector(fit.state.lens, lens_vector(fit.state.lens) + step.tail<kLensParameters>());
    // Well below what the stars can tell: a hundredth of a sigma of every frame's pose.
    fit.converged = step.dot(eq.information * step) < 1e-4 * static_cast<double>(frames);
    terms = all_terms(data, fit.state, options.threads);
  }
  update_noise(fit.noise, data, terms, options.noise, spent, 1.0);
  NormalEquations eq = sum_normal_equations(data, terms, fit.noise, true);
  add_priors(eq);
  fit.covariance = eq.information.llt().solve(Eigen::MatrixXd::Identity(eq.information.rows(), eq.information.cols()));
  describe_residuals(fit, data, terms);
  return fit;
}

}  // namespace polewright::mount_detail
