// Small simulated frames written to a scratch folder, to be spoiled in every way a user's files may be.
#pragma once

#include <string>

#include "simulate/simulate.hpp"

namespace polewright::test {

/// Two frames of one scene, 1500×1000 pixels, 35 mm; rendered once per test program.
const std::vector<simulate::RenderedFrame>& rendered_pair();

/// Writes frame `which` (0 or 1) of the pair after `change` has been applied to it; returns the path.
template <class Change>
std::string write_frame(const std::string& folder, const std::string& name, int which, Change&& change);
std::string write_plain(const std::string& folder, const std::string& name, int which);
std::string save(const std::string& folder, const std::string& name, const Frame& frame);

template <class Change>
std::string write_frame(const std::string& folder, const std::string& name, int which, Change&& change) {
  Frame frame = rendered_pair()[static_cast<std::size_t>(which)].frame;
  change(frame);
  return save(folder, name, frame);
}

}  // namespace polewright::test
