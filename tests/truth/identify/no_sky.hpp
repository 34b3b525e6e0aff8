// Star lists that show no sky: nothing in them may be identified.
#pragma once

#include <random>

#include "polewright/identify.hpp"

namespace polewright::test {

enum class NoSky {
  noise,          ///< places without order, brightness as of stars
  shuffled,       ///< a true field's places and brightnesses, x and y drawn from different stars
  city_lights,    ///< rows of equal lights in perspective, clumps, a few lamps
  distorted_sky,  ///< a true field stretched 1.6 times along one direction: right neighbourhoods, wrong shapes
};
inline constexpr int kNoSkyKinds = 4;

[[nodiscard]] StarList no_sky(const Catalogue& catalogue, NoSky kind, std::mt19937_64& random);

}  // namespace polewright::test
