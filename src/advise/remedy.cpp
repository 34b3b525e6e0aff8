#include <array>
#include <utility>

#include "polewright/advise.hpp"

namespace polewright {

// Common practice, no source.
std::string_view remedy_for(std::string_view cause) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 13> remedies{{
      {"axis misalignment", "shoot two frames minutes apart for polewright align, and turn what it says"},
      {"tracking rate", "set the mount to sidereal: solar, lunar and half rate are for other things"},
      {"not tracking",
       "see that the mount is on, set to stars and not at the end of its battery, and that its clutch grips"},
      {"reversed tracking", "set the hemisphere switch to the half of the Earth you stand on"},
      {"periodic error",
       "shorter exposures or a shorter lens; a load slightly heavier on the east side keeps the gears in touch"},
      {"settling", "let the mount run a minute or two after pointing before the first exposure"},
      {"slip", "tighten clamps and ball head, balance the camera, and leave the cable some slack"},
      {"gust or knock", "put the tripod low and out of the wind, release the shutter without touching it"},
      {"defocus", "focus again on a bright star when it has become colder or warmer, and tape the ring"},
      {"dew", "warm the front lens gently or shade it from the open sky; let wet glass dry by itself"},
      {"clouds", "nothing to turn: wait, or point elsewhere"},
      {"lens aberration", "stop the lens down by one stop"},
      {"tilt", "hold a heavy lens at its own foot, and see that the mount flange and adapter sit flat"},
  }};
  for (const auto& [name, remedy] : remedies)
    if (name == cause) return remedy;
  return {};
}

}  // namespace polewright
