// Whole frames with what practice puts in them, for counting what is found and what is only imagined.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "polewright/stars.hpp"
#include "simulate/simulate.hpp"

namespace polewright::test {

struct NamedScene {
  std::string name;
  simulate::Scene scene;
  simulate::RenderOptions render;
  double faintest = 11.5;
  bool amplifier_glow = false;
  bool jpeg = false;
};

/// The ten kinds of scene.
std::vector<NamedScene> night_scenes();

/// The same kind of scene with other stars, other pixel faults and noise, another skyline and other clouds.
NamedScene with_seed(NamedScene scene, std::uint64_t seed);

struct SceneFrame {
  Frame frame;
  std::vector<simulate::StarTruth> stars;
  double noise_e = 0.0;  ///< of one pixel of plain sky; where pixels are not independent, what the smoothed frame has
};
SceneFrame rendered(const NamedScene& scene);

/// Which detections are images of a star: each star takes the nearest within its reach.
struct Explained {
  std::vector<std::size_t> detection_of;  ///< per star; the number of detections when there is none
  std::vector<bool> is_star;              ///< per detection
};
Explained explain(const std::vector<simulate::StarTruth>& truth, const std::vector<Star>& found);

struct SceneFigures {
  int wanted = 0;    ///< isolated stars above 8 σ
  int found = 0;     ///< of those, whatever the flags
  int usable = 0;    ///< of those
  int imagined = 0;  ///< usable detections where no star is
  double megapixels = 0.0;

  SceneFigures& operator+=(const SceneFigures& o);
};
SceneFigures scene_figures(const NamedScene& scene, const SceneFrame& frame, const StarList& list);

}  // namespace polewright::test
