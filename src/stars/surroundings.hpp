// The sky around a place, beyond the light of a star there.
#pragma once

#include <array>
#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"

namespace polewright {

/// The map's levels and noises at a place, per class of the mosaic (BackgroundMap::class_of). Fine for some pixels
/// around it: asking the map at every pixel would cost more than all the rest.
using ClassValues = std::array<float, 4>;
ClassValues levels_at(const BackgroundMap& background, int x, int y);
ClassValues noises_at(const BackgroundMap& background, int x, int y);

/// Sample units.
struct Surroundings {
  double level = 0.0;  ///< of the sky at the place, above the map's
  double noise = 1.0;  ///< of that sky, per pixel
  double mean = 0.0;   ///< level of the whole ring above the map's, whatever skies are in it
  /// Of the darkest side of the ring below its middle; stars lift some sides, only ground lowers one.
  double step = 0.0;
  bool one_sky =
      true;  ///< the ring holds one sky, level or sloping; false beside silhouettes, bright stars, cloud rims
};

/// A ring around star images of one size, cut into sectors. Its pixels' places are worked out once per frame.
class Ring {
 public:
  Ring(const Frame& frame, const BackgroundMap& background, double sigma_px);

  /// Where the sectors tell of more than one sky, the brighter sky counts: a star stands above the sky it is in, and a
  /// bright patch between dark ones is no more than sky.
  [[nodiscard]] Surroundings around(int x, int y) const;

  /// 1σ of the level on open sky, in units of the noise.
  [[nodiscard]] double level_error() const;

 private:
  static constexpr std::size_t kSectors = 8, kMostPixels = 64;  // per sector
  struct Sector {
    std::array<float, kMostPixels> value;
    std::size_t pixels = 0;
    float level = 0.0F;
  };
  struct Offset {
    int dx, dy;
    std::ptrdiff_t at;
  };
  void fill(int x, int y, std::array<Sector, kSectors>& sectors) const;

  const Frame& frame_;
  const BackgroundMap& background_;
  int reach_ = 0;
  double radius_ = 1.0;  ///< of the middle of the ring
  std::array<std::vector<Offset>, kSectors> offsets_;
};

}  // namespace polewright
