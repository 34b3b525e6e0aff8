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

/// A short list of a rich frame's brightest (StarOptions::max_stars) takes a coarse look only, see Grain: what that
/// misses would not be on the list.
FoundImages find_images(const Frame& frame, const BackgroundMap& background, const StarOptions& options);

}  // namespace polewright
