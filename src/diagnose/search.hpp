// Which movements a sequence shows: components are taken in while they explain more than they assume, then every one of
// them must stand against the others.
#pragma once

#include "diagnose/refine.hpp"

namespace polewright::diagnose {

struct Finding {
  Account account;
  std::vector<double> bic_gain;       ///< per component: how much worse the account is without it
  std::vector<WaveError> wave_error;  ///< per component
  bool restless = false;              ///< so many steps that they are wander, not events; steps and blips were dropped
};

/// May turn the series' columns to the tracking direction when a wave shows it.
[[nodiscard]] Finding explain_motion(Series& series, const NightOptions& options);

/// The strongest wave in the residual of an account.
struct Wave {
  double period_s = 0.0;
  double gain = 0.0;                         ///< drop of the residual sum of squares
  Eigen::Vector3d direction{1.0, 0.0, 0.0};  ///< in whitened space
};
/// Least-squares spectral analysis of the residual over all periods that the sequence can show, the account's own
/// components being refitted beside each trial wave.
[[nodiscard]] Wave strongest_wave(const Series& series, const Account& account, const NightOptions& options);

/// Chance that white noise gives a wave as strong as this at one of the periods looked at (Scargle's statistic with the
/// noise taken from the residual, and as many independent periods as the band has resolution elements).
[[nodiscard]] double false_alarm(const Series& series, const Account& account, std::size_t wave,
                                 const NightOptions& options);

}  // namespace polewright::diagnose
