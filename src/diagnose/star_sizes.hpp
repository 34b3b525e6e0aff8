// Star width, star count and brightness over a sequence: focus, dew, clouds, and the lens's own pattern.
#pragma once

#include <optional>
#include <vector>

#include "polewright/diagnose.hpp"

namespace polewright::diagnose {

enum class Softening { none, focus, dew };

struct StarSizes {
  std::vector<double> growth_px;  ///< width beyond the sequence's best; 0 when unknown
  std::vector<double> dim_mag;    ///< light lost against the sequence's clearest frames; 0 when unknown
  std::vector<bool> soft, lost, clouded;
  double best_fwhm_px = 0.0, width_scatter_px = 0.0;
  double stars_expected = 0.0;
  Softening softening = Softening::none;   ///< what makes the soft frames soft, when they follow one another
  double softening_bic = 0.0;              ///< by how much dew beats focus (positive) or focus beats dew (negative)
  std::optional<double> width_per_kelvin;  ///< FWHM px per K when width follows the temperature
  double aberration_px = 0.0, aberration_sigma_px = 0.0;  ///< typical over the sequence
  double tilt_px = 0.0, tilt_sigma_px = 0.0;
};

[[nodiscard]] StarSizes star_sizes(const std::vector<NightFrame>& frames, const NightOptions& options);

}  // namespace polewright::diagnose
