// Where the images of stars are, and their first measurements: points, or trails when the whole frame is trailed.
#pragma once

#include <optional>
#include <vector>

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/star_size.hpp"
#include "stars/trails.hpp"

namespace polewright {

/// Before any profile is fitted.
struct FoundImages {
  StarSize size;
  std::optional<TrailedFrame> trailed;
  std::vector<Star> stars;
};

/// A coarse look first where StarOptions::enough_stars allows it, see Grain.
FoundImages find_images(const Frame& frame, const BackgroundMap& background, const StarOptions& options);

}  // namespace polewright
