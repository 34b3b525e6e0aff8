// Frames into memory, measured: reading and star finding for all commands.
#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "polewright/frame.hpp"
#include "polewright/identify.hpp"
#include "polewright/report.hpp"
#include "polewright/session.hpp"
#include "polewright/stars.hpp"

namespace polewright::session {

/// A frame after its pixels have been measured and let go.
struct MeasuredFrame {
  Frame frame;  ///< without pixels
  StarList stars;
  std::uint64_t content_hash = 0;
  /// Middle of the exposure. When only a wall clock without zone is known it stands here as if it were UTC, and
  /// `zone_known` is false: good for intervals, not for directions over the ground.
  std::optional<UtcTime> time;
  bool zone_known = true;
  std::optional<IdentifyResult> identified;
};

/// Reads and measures one file. The pixels are freed before it returns.
[[nodiscard]] Result<MeasuredFrame> load(const std::filesystem::path& path, const SessionOptions& options);

/// Pixel pitch and focal length with the person's word over the header's.
struct Optics {
  MaybeSourced<double> focal_mm, pitch_um;
  [[nodiscard]] std::optional<double> focal_px() const {
    if (!focal_mm || !pitch_um) return {};
    return focal_mm->value * 1000.0 / pitch_um->value;
  }
};
[[nodiscard]] Optics optics_of(const Frame& frame, const SessionOptions& options);

/// Site with the person's word over the header's.
[[nodiscard]] MaybeSourced<Site> site_of(const Frame& frame, const SessionOptions& options);
/// Air with the header's pressure and temperature where the options are silent.
[[nodiscard]] Weather weather_of(const Frame& frame, const SessionOptions& options);

/// Hints for identifying this frame; `neighbour` is an identified frame of the same session, if there is one.
[[nodiscard]] IdentifyHints hints_for(const MeasuredFrame& frame, const SessionOptions& options,
                                      const Identification* neighbour);

/// Tells of the wait that the first identification brings: the sky is indexed once.
void announce_sky_index(const Catalogue& catalogue, const Progress& progress);

/// What reports say about this frame.
[[nodiscard]] FrameReport describe(const MeasuredFrame& frame, const SessionOptions& options);
[[nodiscard]] OpticsReport describe_optics(const Optics& optics, const LensModel* lens);

}  // namespace polewright::session
