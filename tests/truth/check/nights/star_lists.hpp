// Synthetic nights one level further down: star lists of catalogue stars as find_stars would give them, so that
// matching, identification and the mount fit are in the test as well. No pixel is rendered.
#pragma once

#include <vector>

#include "nights/night_maker.hpp"
#include "session/night_measure.hpp"

namespace polewright::test {

/// One file per frame, its record filled from star places with 0.08 px of noise and trails from the same motion.
[[nodiscard]] std::vector<session::NightFile> star_list_night(const NightPlan& plan);

}  // namespace polewright::test
