// What an even drift says about the mount.
#pragma once

#include "diagnose/account.hpp"

namespace polewright::diagnose {

/// The even part of an account's motion (drift and its bends) at the middle of the sequence, taken apart into axis and
/// rate when scale and pole are known. Nothing when the account has no drift.
[[nodiscard]] std::optional<SteadyDrift> steady_drift(const Series& series, const Account& account,
                                                      const NightField& field);

/// The two parts of an even motion over a time: by the axis being off the pole, and by the rate. Whole motion in `rest`
/// when they cannot be told apart.
struct SteadyParts {
  Displacement axis = Displacement::Zero(), rate = Displacement::Zero(), rest = Displacement::Zero();
};
[[nodiscard]] SteadyParts split_steady(const Displacement& moved, double seconds, const NightField& field);

}  // namespace polewright::diagnose
