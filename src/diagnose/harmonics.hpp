// Harmonics of a worm that frames far apart show at another frequency, or not at all, but that draw the trails.
#pragma once

#include "diagnose/refine.hpp"

namespace polewright::diagnose {

/// Tries the second to sixth harmonic of the strongest wave of a refined account, each in the place of the wave that
/// its alias at the frames' cadence made, if any. Keeps what places and trails together are explained better by, by the
/// information criterion. The account comes back refined; true when it has changed.
bool add_harmonics(const Series& series, double least_bic_gain, Account& account, std::vector<WaveError>& errors);

}  // namespace polewright::diagnose
