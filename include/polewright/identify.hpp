// identify: which catalogue star is which, and with it the camera's attitude and optics.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "polewright/catalogue.hpp"
#include "polewright/lens.hpp"
#include "polewright/site.hpp"
#include "polewright/stars.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// Hints make identification faster; none of them decides, and a wrong one must not break it.
struct IdentifyHints {
  std::optional<double> focal_px;                  ///< believed to 15 %
  std::optional<Vec<Icrs>> centre;                 ///< rough centre of the frame
  std::optional<Rotation<Camera, Icrs>> attitude;  ///< of a neighbouring frame
  std::optional<LensModel> lens;                   ///< solved on a neighbouring frame
  std::optional<UtcTime> time;                     ///< for planets and proper motion
  std::optional<Site> site;                        ///< for refraction in wide fields and the horizon; used with time
};

struct IdentifyOptions {
  /// An identification is accepted when the chance of it being an accident is below this.
  double max_chance_probability = 1e-9;
  int min_matches = 8;
  double time_limit_s = 20.0;  ///< of one thread's processor time
};

constexpr std::uint32_t kNotInCatalogue = 0xFFFFFFFFu;

/// One star of the frame and what it is.
struct StarMatch {
  std::uint32_t star = 0;                     ///< index into StarList::stars
  std::uint32_t catalogue = kNotInCatalogue;  ///< index into the table, or kNotInCatalogue for a planet
  Vec<Icrs> direction;                        ///< ICRS direction at the frame's date
  double v_magnitude = 0.0;
  double residual_x_px = 0.0, residual_y_px = 0.0;  ///< measured − model
};

/// A solved frame. With hints.time and hints.site the attitude refers to observed places mapped back to ICRS, so the
/// fit is not bent by refraction; without them it is fitted to ICRS places directly. The mapping back is one
/// rotation: the one that brings the observed places of the matched stars nearest to their ICRS places, turned by the
/// least so that the frame's centre is exact.
struct Identification {
  Rotation<Camera, Icrs> camera_from_icrs;
  /// Attitude over the ground, fitted to observed places; present when hints.time and hints.site were used. Not used
  /// when the observed places fit worse than the catalogue's, as they do when the clock or the site is wrong.
  std::optional<Rotation<Camera, Enu>> camera_from_enu;
  LensModel lens;
  std::vector<StarMatch> matches;  ///< inliers, brightest in the catalogue first; planets last, not used in the fit
  double residual_rms_px = 0.0;    ///< per axis, over inliers without planets
  double log10_chance = 0.0;       ///< log10 of the probability that the match is an accident
};

enum class IdentifyOutcome { identified, not_identified, too_few_stars };

struct IdentifyResult {
  IdentifyOutcome outcome = IdentifyOutcome::not_identified;
  std::optional<Identification> identification;  ///< present exactly when identified
  std::string message;                           ///< why not, and what to shoot instead; empty when identified
};

/// False when the first identification will index the sky, once per star table and user: some two seconds that a caller
/// may want to announce. The index is kept in the user's cache folder.
[[nodiscard]] bool sky_index_ready(const Catalogue& catalogue);

/// Identifies the usable stars of one frame. Never throws; refuses rather than guesses.
[[nodiscard]] IdentifyResult identify(const StarList& stars, const Catalogue& catalogue,
                                      const IdentifyHints& hints = {}, const IdentifyOptions& options = {});

}  // namespace polewright
