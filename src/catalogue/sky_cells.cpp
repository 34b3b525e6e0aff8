#include "catalogue/sky_cells.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace polewright {
namespace {
constexpr double kPi = std::numbers::pi;
}

SkyCells::SkyCells(int bands) {
  assert(bands >= 1);
  first_.push_back(0);
  for (int band = 0; band < bands; ++band) {
    const double middle = (band + 0.5) * kPi / bands - 0.5 * kPi;
    const auto cells = static_cast<std::uint32_t>(std::max(1.0, std::round(2.0 * bands * std::cos(middle))));
    first_.push_back(first_.back() + cells);
  }
}

int SkyCells::band_of(double declination_rad) const {
  return std::clamp(static_cast<int>(std::floor((declination_rad / kPi + 0.5) * bands())), 0, bands() - 1);
}

std::uint32_t SkyCells::cell_of(Vec<Icrs> direction) const {
  const auto band = static_cast<std::size_t>(band_of(declination_of(direction).rad()));
  const std::uint32_t cells = first_[band + 1] - first_[band];
  const double turn = right_ascension_of(direction).rad() / (2.0 * kPi);
  return first_[band] + std::min(cells - 1, static_cast<std::uint32_t>(turn * cells));
}

SkyCells::Run SkyCells::run_in_band(Vec<Icrs> centre, double half_rad, int band) const {
  const auto b = static_cast<std::size_t>(band);
  const std::uint32_t first = first_[b], cells = first_[b + 1] - first;
  const double dec = declination_of(centre).rad();
  const Run whole{first, first + cells, 0, 0};
  if (std::abs(dec) + half_rad >= 0.5 * kPi) return whole;
  // Largest difference in right ascension of any point of the cone: where the meridian touches its edge.
  const double reach = std::asin(std::min(1.0, std::sin(half_rad) / std::cos(dec)));
  const double per_cell = 2.0 * kPi / cells;
  const double ra = right_ascension_of(centre).rad();
  const auto low = static_cast<std::int64_t>(std::floor((ra - reach) / per_cell));
  const auto high = static_cast<std::int64_t>(std::floor((ra + reach) / per_cell));
  const auto n = static_cast<std::int64_t>(cells);
  if (high - low + 1 >= n) return whole;
  const auto from = static_cast<std::uint32_t>((low % n + n) % n), length = static_cast<std::uint32_t>(high - low + 1);
  if (from + length <= cells) return {first + from, first + from + length, 0, 0};
  return {first + from, first + cells, first, first + from + length - cells};
}

}  // namespace polewright
