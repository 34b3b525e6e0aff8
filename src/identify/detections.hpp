// Detections: the stars of one frame that may be used, brightest first, with a look-up by place.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/stars.hpp"

namespace polewright {

struct Detection {
  PixelPoint place;
  double sigma_px = 0.0;   ///< per axis
  std::uint32_t star = 0;  ///< index into StarList::stars
};

class Detections {
 public:
  /// The usable stars of the list and those set aside only because they are burnt out, at most `limit` of the
  /// brightest.
  Detections(const StarList& stars, std::size_t limit);

  [[nodiscard]] std::uint32_t size() const { return static_cast<std::uint32_t>(all_.size()); }
  [[nodiscard]] const Detection& operator[](std::uint32_t rank) const { return all_[rank]; }
  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  [[nodiscard]] double area_px() const { return static_cast<double>(width_) * height_; }
  [[nodiscard]] PixelPoint centre() const { return {0.5 * (width_ - 1), 0.5 * (height_ - 1)}; }
  [[nodiscard]] double half_diagonal_px() const;
  [[nodiscard]] bool on_frame(PixelPoint p, double margin_px = 0.0) const;

  /// Rank of the nearest of the `among` brightest within `reach_px`.
  [[nodiscard]] std::optional<std::uint32_t> nearest(PixelPoint p, double reach_px, std::uint32_t among) const;
  /// Rank of the brightest within `reach_px`.
  [[nodiscard]] std::optional<std::uint32_t> brightest(PixelPoint p, double reach_px) const;
  /// The `count` nearest of the `among` brightest to one of them, nearest first.
  [[nodiscard]] std::vector<std::uint32_t> neighbours(std::uint32_t rank, std::size_t count, std::uint32_t among) const;

 private:
  void limit_sigmas();
  [[nodiscard]] int column(double x) const;
  [[nodiscard]] int row(double y) const;

  int width_, height_;
  std::vector<Detection> all_;
  double cell_px_ = 1.0;
  int columns_ = 1, rows_ = 1;
  std::vector<std::vector<std::uint32_t>> cell_;  ///< ranks in ascending order
};

}  // namespace polewright
