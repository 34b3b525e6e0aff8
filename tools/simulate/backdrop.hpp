// Everything in the picture that is not a point of light: sky glow in its forms, clouds, the dark ground.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "simulate/detector.hpp"
#include "simulate/exposure.hpp"
#include "simulate/foreground.hpp"

namespace polewright::simulate {

class Backdrop {
 public:
  /// `sky_e` is the plain sky of the whole exposure per pixel.
  Backdrop(const Exposure& exposure, const Detector& detector, const Extras& extras, double sky_e);
  /// Mean electrons of stored row y, before colour filters.
  void row(int y, std::span<float> electrons) const;
  /// Share of a star's light that clouds let through.
  [[nodiscard]] double transmission(Vec<Enu> direction) const;
  [[nodiscard]] bool hidden(Vec<Enu> direction) const { return skyline_ && skyline_->hides(direction); }
  /// Share of the light at the frame's corner that the lens lets through, applied at a place.
  [[nodiscard]] double vignetting(PixelPoint place) const;

 private:
  /// Smooth quantities are worked out every kCell pixels and interpolated.
  static constexpr int kCell = 16;
  struct Node {
    float sky = 0.0F;
    float azimuth = 0.0F, altitude = 0.0F;  ///< rad
  };
  struct Ground {
    double azimuth = 0.0, altitude = 0.0;
  };
  /// Direction over the ground behind a pixel at one moment of the exposure.
  [[nodiscard]] Ground ground_at(std::size_t layer, int x, int y) const;
  [[nodiscard]] double glow(Vec<Enu> direction, PixelPoint place) const;
  [[nodiscard]] double cloud(Vec<Enu> direction) const;
  /// The place itself or, outside the image circle, the nearest one just inside.
  [[nodiscard]] PixelPoint inside_circle(PixelPoint place) const;
  void darken_outside(int y, std::span<float> electrons) const;
  void shade_ground(int y, std::span<float> electrons) const;
  [[nodiscard]] const Node& node(std::size_t layer, int column, int line) const;

  const Exposure* exposure_;
  const Detector* detector_;
  const Extras* extras_;
  double sky_e_;
  int columns_ = 0, lines_ = 0;
  double circle_px_ = 0.0;
  std::optional<Skyline> skyline_;
  std::vector<std::vector<Node>> layers_;  ///< one per moment of the exposure; a single one without a landscape
};

}  // namespace polewright::simulate
