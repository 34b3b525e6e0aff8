// Which keys of a scene file fill which options.
#pragma once

#include "simulate/keys.hpp"
#include "simulate/simulate.hpp"

namespace polewright::simulate {

void read_scene(Keys& keys, Scene& scene);
void read_render(Keys& keys, RenderOptions& options);

}  // namespace polewright::simulate
