// The last word on waves: everything fitted at once, periods too, to places and to the trails inside the frames.
#pragma once

#include <vector>

#include "diagnose/account.hpp"

namespace polewright::diagnose {

/// 1σ of one wave, from the joint fit. Zero for components that are no waves.
struct WaveError {
  double period_s = 0.0;
  double amplitude = 0.0;  ///< in units of the series' first column
};

/// Least squares over all coefficients and periods of an account that holds a wave. Places give where the field stood;
/// the trail of each exposure gives how far it moved meanwhile, which for a visible trail is known many times better.
/// Trails count only while they do not contradict the places. Gives one error per component.
[[nodiscard]] std::vector<WaveError> refine_waves(const Series& series, Account& account);

/// Variance per component (px⁴) of what the account's motion leaves of the squared trails, the star images' own shape
/// taken off; from the median, and never below what is stated.
[[nodiscard]] double trail_scatter_px4(const Series& series, const Account& account);

}  // namespace polewright::diagnose
