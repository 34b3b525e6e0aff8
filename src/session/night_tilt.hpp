// Star width across the frame as a tilted sensor draws it.
#pragma once

#include "polewright/stars.hpp"

namespace polewright::session {

struct TiltMeasure {
  double growth_px = 0.0;  ///< FWHM at the worse edge less that at the frame's best line
  double sigma_px = 0.0;
};

/// A tilted sensor is in focus along one line; the star's blur grows away from it. Fitted as a quadratic surface of the
/// squared width; what is alike in all directions (a curved field) is left out. Zero with fewer than 30 good stars.
[[nodiscard]] TiltMeasure tilt_of(const StarList& stars);

}  // namespace polewright::session
