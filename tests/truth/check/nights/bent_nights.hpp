// Nights whose camera leaves the course of a rigid mount, to see whether the stated error of the axis covers that.
#pragma once

#include <cstdint>
#include <optional>
#include <random>

#include "polewright/mount.hpp"
#include "truth/mount/sessions/session.hpp"

namespace polewright::test {

/// What the camera does beside turning about the axis; each over the whole night, with a random direction.
enum class Bend {
  none,
  jolts,     ///< each frame by itself
  walk,      ///< random steps that stay
  settling,  ///< dies away within a fifth to all of the night
  speeding,  ///< grows as the square or cube of time
  swaying,   ///< a half to three swings in the night, any phase
};
[[nodiscard]] const char* to_text(Bend bend);

/// 8 to 40 frames over half an hour to four hours, 50 to 400 mm, axis up to 40′ off, worm to 8″; the bend's size over
/// the night is 3 to 60″. Star places by ERFA, 40 stars a frame at 0.08 px; the fit is told the true clock.
[[nodiscard]] Session bent_night(Bend bend, std::mt19937_64& random);

struct CoverScore {
  int nights = 0, refused = 0, widened = 0;
  int inside_before = 0, inside_after = 0;                     ///< truth within the stated 95 % ellipse
  double rms_arcmin = 0.0;                                     ///< of the axis' error
  double median_sigma_before = 0.0, median_sigma_after = 0.0;  ///< arcmin, stated
};
[[nodiscard]] CoverScore cover_of(Bend bend, int nights, std::uint64_t seed);

}  // namespace polewright::test
