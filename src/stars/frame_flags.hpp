// What is to be said about a frame as a whole before anybody asks about its stars.
#pragma once

#include <string>
#include <vector>

#include "polewright/stars.hpp"
#include "stars/background.hpp"

namespace polewright {

/// The words for StarList::flags; when each is given is documented there.
std::vector<std::string> frame_flags(const Frame& frame, const BackgroundMap& background, const StarList& list);

}  // namespace polewright
