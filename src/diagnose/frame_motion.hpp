// The trail of each frame: what its pixels show against what the sequence's motion says, and which movement made it.
#pragma once

#include <string>
#include <vector>

#include "diagnose/search.hpp"
#include "diagnose/steady.hpp"

namespace polewright::diagnose {

/// How much of a frame's trail one cause makes.
struct Part {
  std::string cause;      ///< fixed word
  double trail_px = 0.0;  ///< worst over the frame, of this part alone
  double share = 0.0;     ///< of the frame's expected trail, along it; 0 when it works against it
};

struct FrameMotion {
  Displacement expected = Displacement::Zero();
  std::vector<Part> parts;
  std::optional<double> trail_px, trail_sigma_px, angle_deg;
  bool from_sequence = false;
  bool excess = false;  ///< pixels show more motion than sequence and noise explain
  double excess_px = 0.0;
};

/// Rms of what the account leaves of the places, px per axis.
[[nodiscard]] double wander_px(const Series& series, const Account& account);
/// Whether the drift says if axis or rate makes it; one too short or too rough is left whole.
[[nodiscard]] bool separable(const SteadyDrift& drift);
/// The word for the rate part of a steady drift.
[[nodiscard]] std::string rate_word(const SteadyDrift& drift);
/// The word for a steady drift that could not be taken apart; `unexplained` unless the size of the turn gives it away.
[[nodiscard]] std::string whole_drift_word(const SteadyDrift& drift);

[[nodiscard]] std::vector<FrameMotion> frame_motions(const std::vector<NightFrame>& frames, const Series& series,
                                                     const Finding& finding, const std::optional<SteadyDrift>& drift,
                                                     const NightField& field, const NightOptions& options);

}  // namespace polewright::diagnose
