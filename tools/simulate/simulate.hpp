// Synthetic truth: frames and star lists of a sky seen by a camera on a tracking mount whose every error is known.
// Written from first principles and sharing no code with the stages it judges; conventions are those of DEVELOPERS.md,
// "Frames and signs". Plain values in, plain values out; a scene says what happens, a detector how it is recorded.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "polewright/angle.hpp"
#include "polewright/frame.hpp"
#include "polewright/geometry.hpp"
#include "polewright/result.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"
#include "simulate/detector.hpp"
#include "simulate/scene.hpp"

namespace polewright {
class Catalogue;
}

namespace polewright::simulate {

/// One star of the sky to be seen. Direction is ICRS for the date (proper motion applied).
struct SkyStar {
  std::uint32_t id = 0;
  Vec<Icrs> direction;
  double v_magnitude = 0.0;
};

/// Table stars that any frame of the scene can see, brightest first; ids are table indices.
[[nodiscard]] std::vector<SkyStar> stars_from_catalogue(const Catalogue& catalogue, const Scene& scene,
                                                        double faintest);
/// Invented stars over the same region, brightest first: uniform on the sphere, as many per magnitude as the real sky
/// has on average (8 per square degree to V 10, a factor 2.9 per magnitude). The same seed is the same whole sky.
[[nodiscard]] std::vector<SkyStar> random_stars(const Scene& scene, double faintest, std::uint64_t seed);

/// Where one star's image is on one frame.
struct StarTruth {
  std::uint32_t id = 0;
  Vec<Icrs> direction;
  double v_magnitude = 0.0;
  Vec<Enu> observed;       ///< refracted direction at mid-exposure
  PixelPoint place;        ///< mean over the exposure
  PixelPoint trail;        ///< place at the end minus place at the start of the exposure
  double electrons = 0.0;  ///< whole image; set by render_frame only
};

struct PlaceNoise {
  double sigma_px = 0.0;  ///< Gaussian error added to each coordinate of the place
  std::uint64_t seed = 1;
  double margin_px = 0.0;  ///< stars this far outside the frame are listed too (negative: keep away from the edge)
};

/// Star places of one frame without rendering: fast enough for thousands of sessions (about 1 µs per star).
/// Order of `stars` is kept; stars outside the frame or below the horizon are left out.
[[nodiscard]] std::vector<StarTruth> star_places(const Scene& scene, std::span<const SkyStar> stars, int frame,
                                                 const PlaceNoise& noise = {});

/// What is true of the whole scene.
struct SceneTruth {
  Vec<Enu> axis;  ///< on the visible pole's side
  Vec<Enu> refracted_pole, true_pole;
  Angle altitude_error;  ///< from the pole that Mount::about names
  Angle azimuth_error;   ///< of the base, east positive
  Angle total_error;     ///< great circle
};
[[nodiscard]] SceneTruth scene_truth(const Scene& scene);

/// What is true of one frame at the middle of its exposure.
struct FrameTruth {
  UtcTime start, mid;  ///< real UTC, without the clock error
  Rotation<Camera, Enu> camera_from_enu;
  Vec<Icrs> centre;  ///< what the principal point looks at
};
[[nodiscard]] FrameTruth frame_truth(const Scene& scene, int frame);

struct RenderedFrame {
  Frame frame;  ///< pixels and metadata as a reader would give them
  FrameTruth truth;
  std::vector<StarTruth> stars;  ///< those whose image touches the frame, brightest first
};

struct RenderOptions {
  Detector detector;
  Extras extras;
  std::uint64_t seed = 1;  ///< of everything random in the frame; frames of a scene differ by their number
  int threads = 1;
};

/// Renders one frame of the scene. Same inputs give the same pixels on any number of threads.
[[nodiscard]] RenderedFrame render_frame(const Scene& scene, std::span<const SkyStar> stars, int frame,
                                         const RenderOptions& options);

// ---- files ----------------------------------------------------------------------------------------------------------

enum class FitsCompression { none, rice, gzip };
[[nodiscard]] Status write_fits(const std::filesystem::path& path, const Frame& frame,
                                FitsCompression compression = FitsCompression::none);

struct DngOptions {
  std::optional<int> zone_offset_s = 0;  ///< local time of the stamps; absent: the clock is UTC and no zone is written
  bool gps = true;
  bool lossless_jpeg = false;  ///< SOF3-compressed strip instead of plain samples
};
/// A colour-filter-array DNG with EXIF (and GPS). The frame must have a colour mosaic.
[[nodiscard]] Status write_dng(const std::filesystem::path& path, const Frame& frame, const DngOptions& options = {});

/// 16-bit TIFF or PNG, or 8-bit JPEG with a display tone curve, by the file name's extension. No metadata.
[[nodiscard]] Status write_picture(const std::filesystem::path& path, const Frame& frame);
/// Eight bits, stretched for the eye; PNG or JPEG.
[[nodiscard]] Status write_preview(const std::filesystem::path& path, const Frame& frame);

/// Truth of scene and frames as JSON text, keys with units.
[[nodiscard]] std::string truth_json(const Scene& scene, std::span<const RenderedFrame> frames,
                                     std::span<const std::string> file_names);

/// A scene file: everything one session needs.
struct SceneFile {
  Scene scene;
  RenderOptions render;
  std::string name = "scene";
  double faintest = 10.5;
  bool random_stars = false;
  std::string format = "fits";       ///< fits, fits.fz, dng, ljpeg.dng, tif, png, jpg
  std::optional<int> zone_offset_s;  ///< of the camera's clock, written to DNG stamps
};
/// Reads a scene in TOML (keys as in tools/simulate/scene_example.toml, all optional); each override is one more line
/// of TOML such as "mount.altitude_error_arcmin = -18". Errors: config_invalid with key, value and what was expected.
[[nodiscard]] Result<SceneFile> parse_scene(const std::string& toml_text, const std::string& file_name,
                                            std::span<const std::string> overrides = {});

}  // namespace polewright::simulate
