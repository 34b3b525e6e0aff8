#include "stars/saturated_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

namespace polewright {
namespace {

constexpr std::array<double, 5> kShares{0.0, 0.06, 0.12, 0.2, 0.3};
constexpr double kStrange = 4.5;     // median deviations beyond which a pixel belongs to something else
constexpr std::size_t kAlike = 24;   // pixels of about equal light that are compared
constexpr int kSectors = 8;          // sides of the star whose agreement is asked for
constexpr double kInQuestion = 9.0;  // χ² by which a step of the wings loses when it is 3σ off
constexpr double kFluxFloor = 0.02;  // of the light: wings that no star of the frame shows

double median_of(std::vector<double> v) {
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

/// Pixels compared with those of about equal model light, so that a wrong profile, which all sides share, does not
/// count as strange.
void drop_strange(FitPixels& pixels, const FitResiduals& r) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < pixels.value.size(); ++i)
    if (r.weight[static_cast<Eigen::Index>(i)] > 0.0F) order.push_back(i);
  const auto light = [&](std::size_t i) { return r.light[static_cast<Eigen::Index>(i)]; };
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return pixels.colour[a] != pixels.colour[b] ? pixels.colour[a] < pixels.colour[b] : light(a) < light(b);
  });
  for (std::size_t from = 0; from < order.size(); from += kAlike) {
    const std::size_t to = std::min(order.size(), from + kAlike);
    if (to - from < kAlike / 2) break;
    std::vector<double> whitened, off;
    for (std::size_t k = from; k < to; ++k) {
      const auto i = static_cast<Eigen::Index>(order[k]);
      whitened.push_back(static_cast<double>(r.residual[i] * std::sqrt(r.weight[i])));
    }
    const double middle = median_of(whitened);
    for (const double w : whitened) off.push_back(std::abs(w - middle));
    const double limit = kStrange * std::max(1.0, 1.4826 * median_of(off));
    for (std::size_t k = from; k < to; ++k)
      if (std::abs(whitened[k - from] - middle) > limit)
        pixels.sky_variance[order[k]] = std::numeric_limits<float>::infinity();
  }
}

}  // namespace

std::optional<StarFit> fit_saturated(FitPixels pixels, const StarFit& start, const FitPriors& priors,
                                     const Wings& frame_wings) {
  std::optional<StarFit> best = fit_star(pixels, start, priors, frame_wings);
  if (!best) return {};
  for (int round = 0; round < 2; ++round) {
    drop_strange(pixels, residuals_of(pixels, *best, frame_wings));
    best = fit_star(pixels, *best, priors, frame_wings);
    if (!best) return {};
  }
  std::array<std::optional<StarFit>, kShares.size()> tried;
  std::size_t chosen = 0;
  for (std::size_t k = 0; k < kShares.size(); ++k) {
    tried[k] = fit_star(pixels, *best, priors, {kShares[k]});
    if (tried[k] && (!tried[chosen] || tried[k]->deviance < tried[chosen]->deviance)) chosen = k;
  }
  if (!tried[chosen]) return {};
  StarFit fit = *tried[chosen];
  fit.covariance = sided_covariance(pixels, fit, {kShares[chosen]}, kSectors);
  // What one step in the choice of wings moves, as far as the step is still in question: a poor fit puts it there.
  const double excess = std::max(1.0, fit.chi2 / fit.pixels);
  for (const std::size_t k : {chosen - 1, chosen + 1}) {
    if (k >= kShares.size() || !tried[k]) continue;
    const double against = std::max(1e-9, tried[k]->deviance - fit.deviance);
    const double plausible = 0.5 * std::min(1.0, kInQuestion * excess / against);
    fit.covariance(0, 0) += plausible * std::pow(tried[k]->shape.x - fit.shape.x, 2);
    fit.covariance(1, 1) += plausible * std::pow(tried[k]->shape.y - fit.shape.y, 2);
    for (int c = 0; c < fit.colours; ++c) {
      const auto i = static_cast<std::size_t>(c);
      fit.covariance(6 + c, 6 + c) += plausible * std::pow(tried[k]->flux[i] - fit.flux[i], 2);
    }
  }
  for (int c = 0; c < fit.colours; ++c)
    fit.covariance(6 + c, 6 + c) += std::pow(kFluxFloor * fit.flux[static_cast<std::size_t>(c)], 2);
  fit.chi2 = std::min(fit.chi2, static_cast<double>(fit.pixels));  // the misfit is in the errors already
  return fit;
}

}  // namespace polewright
