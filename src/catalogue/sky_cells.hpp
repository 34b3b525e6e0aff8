// A division of the sky into cells of nearly equal area, so that what lies near a direction is found without a search.
#pragma once

#include <cstdint>
#include <vector>

#include "polewright/geometry.hpp"

namespace polewright {

/// Bands of equal height in declination, each cut into cells about as wide as the band is high.
/// Cells are numbered along a band eastwards from right ascension 0, bands from the south pole.
class SkyCells {
 public:
  /// `bands` ≥ 1: the cell size is 180°/bands.
  explicit SkyCells(int bands);

  [[nodiscard]] std::uint32_t count() const { return first_.back(); }
  [[nodiscard]] int bands() const { return static_cast<int>(first_.size()) - 1; }
  [[nodiscard]] std::uint32_t cell_of(Vec<Icrs> direction) const;

  /// Calls visit(first, last) for runs [first, last) of cells that together cover the cone; some may lie outside it.
  template <class Visit>
  void visit_cone(Vec<Icrs> centre, Angle radius, Visit&& visit) const {
    const double dec = declination_of(centre).rad(), half = radius.rad();
    const int low = band_of(dec - half), high = band_of(dec + half);
    for (int band = low; band <= high; ++band) {
      const Run run = run_in_band(centre, half, band);
      visit(run.first, run.last);
      if (run.wrapped_last > run.wrapped_first) visit(run.wrapped_first, run.wrapped_last);
    }
  }

 private:
  struct Run {
    std::uint32_t first, last, wrapped_first, wrapped_last;
  };
  [[nodiscard]] int band_of(double declination_rad) const;
  [[nodiscard]] Run run_in_band(Vec<Icrs> centre, double half_rad, int band) const;

  std::vector<std::uint32_t> first_;  ///< first cell of each band, and the number of cells
};

}  // namespace polewright
