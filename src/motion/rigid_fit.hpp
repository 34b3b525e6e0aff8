// Rigid motion of matched places, and the matches a motion implies.
#pragma once

#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/stars.hpp"

namespace polewright::motion_detail {

/// b = centre + R(roll)·(a − centre) + shift; roll positive from +x towards +y.
struct RigidMotion {
  double roll_rad = 0.0, shift_x_px = 0.0, shift_y_px = 0.0;
};

struct Place {
  PixelPoint position;
  double variance_px2 = 0.0;  ///< per axis
  std::uint32_t star = 0;     ///< index into StarList::stars
};

using Pair = std::pair<std::size_t, std::size_t>;  ///< indices into two lists of Place

[[nodiscard]] PixelPoint moved(const RigidMotion& motion, PixelPoint centre, PixelPoint a);

/// Places sorted into cells, for looking up the nearest one.
class PlaceGrid {
 public:
  PlaceGrid(const std::vector<Place>& places, int width_px, int height_px);
  /// Nearest place within `radius_px` (up to a few cells); nothing when there is none.
  [[nodiscard]] std::optional<std::size_t> nearest(PixelPoint p, double radius_px) const;

 private:
  static constexpr double kCell_px = 32.0;
  [[nodiscard]] int column(double x) const;
  [[nodiscard]] int row(double y) const;
  const std::vector<Place>& places_;
  int columns_, rows_;
  std::vector<std::vector<std::uint32_t>> cells_;
};

/// One-to-one pairs within `radius_px` under a motion, nearest first.
[[nodiscard]] std::vector<Pair> pairs_under(const RigidMotion& motion, PixelPoint centre, const std::vector<Place>& a,
                                            const std::vector<Place>& b, const PlaceGrid& grid_b, double radius_px);

struct RigidFit {
  RigidMotion motion;
  Covariance2 shift_cov;  ///< px²
  double roll_sigma_rad = 0.0;
  double residual_rms_px = 0.0;  ///< per axis
};
/// Weighted least squares in closed form, reweighted against outliers. Needs two pairs at different places.
[[nodiscard]] std::optional<RigidFit> fit_rigid(const std::vector<Pair>& pairs, PixelPoint centre,
                                                const std::vector<Place>& a, const std::vector<Place>& b);

}  // namespace polewright::motion_detail
