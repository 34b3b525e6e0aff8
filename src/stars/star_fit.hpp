// Least-squares fit of one star's image on the stored pixels, colour mosaics included.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"
#include "stars/profile.hpp"

namespace polewright {

/// Variance of a pixel: sky noise² + gain·light + (mismatch·light)². The gain is per position of the 2×2 pattern (one
/// value for mono frames); the mismatch stands for images that are not quite the model, so that their errors stay
/// honest.
struct NoiseModel {
  std::array<float, 4> gain{};  ///< sample units per electron
  float mismatch = 0.0F;
};

/// The pixels one fit sees. Mosaics keep their own sky level per colour and get one amplitude per colour; nothing is
/// interpolated between colours.
struct FitPixels {
  PixelSpans spans;
  std::vector<float> value;         ///< above the sky map
  std::vector<float> sky_variance;  ///< infinite for pixels that must not count (saturated, without value)
  std::vector<float> gain;
  std::vector<float> sky_share;      ///< how a change of sky brightness shows in this colour; 1 for mono frames
  std::vector<std::uint8_t> colour;  ///< index of the amplitude
  int colours = 1;
  float mismatch = 0.0F;
};
FitPixels cut_pixels(const Frame& frame, const BackgroundMap& background, const NoiseModel& noise, PixelPoint middle,
                     double trail_x_px, double trail_y_px, double reach);

constexpr int kMaxParameters = 9;  // x, y, sigma, trail_a, trail_b, sky, up to three amplitudes
using FitMatrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxParameters, kMaxParameters>;

struct StarFit {
  StarShape shape;
  TrailForm form = TrailForm::compact;
  double sky = 0.0;              ///< above the map
  std::array<double, 3> flux{};  ///< per amplitude
  int colours = 1;
  FitMatrix covariance;  ///< in the order of kMaxParameters' comment; Cramér–Rao for the noise model
  double chi2 = 0.0;
  double deviance = 0.0;  ///< χ² + Σ ln variance: comparable between models, which weigh pixels differently
  int pixels = 0, iterations = 0;
};

/// Normal priors on what the frame's other stars already say; a spread of 0 holds the value.
struct FitPriors {
  double sigma = 1.0, sigma_spread = 0.3;  ///< px
  double trail_a = 0.0, trail_b = 0.0;
  std::optional<double> trail_spread;  ///< in the unit of trail_a; absent: free
};

/// Levenberg–Marquardt from `start` (its shape, form and fluxes). Weights follow the model, not the data, so that
/// faint stars are not biased. Nothing when it does not converge near the start. The general solvers at hand keep the
/// weights fixed within a solve and evaluate twice per step; this one folds both into a single evaluation.
std::optional<StarFit> fit_star(const FitPixels& pixels, const StarFit& start, const FitPriors& priors,
                                const Wings& wings);

/// Takes a fitted neighbour out of a star's pixels.
void subtract_star(const StarFit& neighbour, const Wings& wings, FitPixels& pixels);

/// Covariance of a fit, widened where `sectors` sides of the star disagree by more than noise makes them.
FitMatrix sided_covariance(const FitPixels& pixels, const StarFit& fit, const Wings& wings, int sectors);

/// How each pixel sits with a fit, for judging the noise model: `leverage` is the part of the pixel's own noise that
/// the fit has followed.
struct FitResiduals {
  Eigen::VectorXf residual, light, leverage, weight;
};
FitResiduals residuals_of(const FitPixels& pixels, const StarFit& fit, const Wings& wings);

}  // namespace polewright
