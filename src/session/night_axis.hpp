// The mount behind a sequence: stars identified on some of its frames, axis and rate.
#pragma once

#include <optional>
#include <string>

#include "polewright/catalogue.hpp"
#include "polewright/diagnose.hpp"
#include "polewright/mount.hpp"
#include "session/night_bend.hpp"
#include "session/night_sequences.hpp"

namespace polewright::session {

struct NightAxis {
  std::vector<MeasuredFrame> frames;  ///< identified, by time
  std::size_t identified = 0;
  std::optional<LensModel> lens;
  std::optional<Vec<Icrs>> centre;  ///< of the first identified frame
  std::optional<Vec<Camera>> pole;  ///< of the sky's turn, in camera axes
  double hemisphere = 1.0;
  MountProblem problem;
  std::optional<MountSolution> mount;  ///< its errors allow for the bend
  std::optional<AxisBend> bend;
  std::string message;  ///< why there is no axis to tell; empty when there is
};

/// Identifies up to options.most_identified frames, evenly chosen among those with stars, and fits the mount. Known
/// answers come from the cache, when there is one.
[[nodiscard]] NightAxis find_axis(const NightSequence& sequence, const std::vector<NightFile>& files,
                                  const Catalogue& catalogue, const CheckOptions& options, const Progress& progress,
                                  NightCache* cache);

/// Fits the mount again, to the frames after the field has come to rest but for e⁻⁴ of its way. What is left of the way
/// passes for an axis error and is added to the stated one.
void solve_settled(NightAxis& axis, const Settling& settling, const CheckOptions& options, const Progress& progress);

/// What the bend means for the axis, for people; nothing when there is none to speak of, or when the night's account
/// names the movement itself.
[[nodiscard]] std::optional<std::string> bend_note(const NightAxis& axis, const NightDiagnosis& night);

}  // namespace polewright::session
