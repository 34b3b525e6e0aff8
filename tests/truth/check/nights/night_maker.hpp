// Labelled synthetic nights at the level of measurements: the simulator says where every star is and how the camera
// moves; noise as large as a real measurement's is added; no pixel is rendered. Rendered nights are in
// rendered_test.cpp.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "polewright/diagnose.hpp"
#include "simulate/simulate.hpp"

namespace polewright::test {

/// A night and what is really wrong with it.
struct NightPlan {
  std::string name;
  std::vector<std::string> causes;  ///< the dominant one first; empty: a clean night
  simulate::Scene scene;
  bool identified = true;                     ///< the pole's direction in the camera is known
  double fwhm_px = 2.4, fwhm_scatter = 0.03;  ///< of the sharp star; relative scatter from frame to frame (seeing)
  double wander_px = 0.1;                     ///< 1σ per axis of the whole field from frame to frame (air, wind)
  double red_wander_px = 0.0;                 ///< the same, alike from frame to frame (correlation 0.9)
  double dither_px = 0.0;                     ///< 1σ per axis of a deliberate shift before every third frame
  std::function<double(double)> growth_px = [](double) { return 0.0; };    ///< of the width, against time in s
  std::function<double(double)> dimming_mag = [](double) { return 0.0; };  ///< against time in s
  double aberration_px = 0.0, tilt_px = 0.0;
  // What the first labelled set leaves out, and real nights do not.
  std::function<double(double)> hidden_share = [](double) { return 0.0; };  ///< of the stars, by patches of cloud
  std::function<std::optional<double>(double)> temperature_c = [](double) { return std::nullopt; };
  double seeing_drift = 0.0;   ///< relative slow change of the width, alike from frame to frame (correlation 0.95)
  double outlier_share = 0.0;  ///< of the frames, whose trail and place are measured four times worse
  bool whole_seconds = false;  ///< stamps in whole seconds
  std::optional<int> clock_jump_at;  ///< from this frame on the clock is a second late
  std::vector<int> missing;          ///< frames that were never saved, or have another exposure
  std::uint64_t seed = 1;
};

struct MadeNight {
  std::vector<NightFrame> frames;
  NightField field;
  std::vector<double> true_trail_px;  ///< equivalent length, worst over the frame
};

[[nodiscard]] MadeNight make_night(const NightPlan& plan);

/// A camera, an exposure and a number of frames under a clean sky; errors of a well set up mount (axis 2′, worm 1″).
[[nodiscard]] NightPlan clean_night(double focal_mm, double exposure_s, int frames, std::uint64_t seed);

/// The labelled set: each cause alone at three strengths, pairs, and clean nights (half as many
/// restless ones besides), over focal lengths 24 to 300 mm. `other_seeds` gives other skies, pointings and noise.
[[nodiscard]] std::vector<NightPlan> labelled_nights(int clean_count, std::uint64_t other_seeds = 0);

/// A second set whose faults take other forms than the analysis has in mind: flexure beside the axis error, saw-tooth
/// worms, several gusts, creeping slips, settling in two stages, focus that follows steps of temperature, patchy cloud;
/// all with missing frames, whole-second stamps, a clock jump, slow seeing and outliers. 66 with a fault, 30 clean.
[[nodiscard]] std::vector<NightPlan> twisted_nights(std::uint64_t other_seeds = 0);

}  // namespace polewright::test
