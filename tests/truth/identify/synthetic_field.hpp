// Star lists of made-up pictures with known truth: catalogue stars through a lens and the air, and all that goes wrong.
#pragma once

#include <cstdint>
#include <random>

#include "polewright/identify.hpp"

namespace polewright::test {

/// What the picture is of. All choices of random_scene() are within these.
struct Scene {
  int width_px = 6000, height_px = 4000;
  LensModel lens;
  UtcTime time;
  Site site;
  Rotation<Camera, Enu> camera_from_enu;
  double limiting_magnitude = 9.0;
};

/// What spoils it.
struct Spoilers {
  double missing = 0.0;          ///< share of stars not detected for no reason
  double spurious = 0.0;         ///< share of all detections that are no stars
  double foreground = 0.0;       ///< share of the frame behind a silhouette, with lights in front of it
  double cloud = 0.0;            ///< share of the frame under cloud, in patches
  double trail_px = 0.0;         ///< adds noise along one direction
  double band_magnitudes = 0.3;  ///< scatter between V and what the camera sees
  double centroid_px = -1.0;     ///< the same for all stars when not negative
  bool fast_stars = true;        ///< one star in a hundred has moved since the catalogue's epoch
  bool planets = true;
};

struct SyntheticField {
  Scene scene;
  StarList stars;
  std::vector<std::uint32_t> truth;  ///< catalogue index of each star of the list, or kNotInCatalogue
  int catalogue_stars = 0;           ///< detected ones
};

[[nodiscard]] Scene random_scene(std::mt19937_64& random, double shortest_mm = 10.0, double longest_mm = 400.0);
[[nodiscard]] Spoilers random_spoilers(std::mt19937_64& random);
[[nodiscard]] SyntheticField synthetic_field(const Catalogue& catalogue, const Scene& scene, const Spoilers& spoilers,
                                             std::mt19937_64& random);

/// Direction the scene's pixel shows, as a catalogue place; nothing outside the lens's domain.
[[nodiscard]] std::optional<Vec<Icrs>> true_direction(const Scene& scene, PixelPoint pixel);

/// How an answer compares with the truth.
struct Verdict {
  bool identified = false;
  bool wrong = false;        ///< identified, but fewer than four in five matches are the right star
  double right_share = 0.0;  ///< of the matches
  double centre_error_px = 0.0;
};
[[nodiscard]] Verdict judge(const SyntheticField& field, const IdentifyResult& result);

}  // namespace polewright::test
