// evidence: what the pages and overlays show besides figures: pictures of frames, marks on them, drift against time.
// The session gathers it on request; the report stage only draws it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// 8-bit picture ready to be shown: grey, row-major, rows as in the file.
struct GreyPicture {
  int width_px = 0, height_px = 0;
  std::vector<std::uint8_t> pixels;
};

enum class MarkKind {
  identified,
  unidentified,  ///< looks like a star, matched nothing in the table
  flagged,       ///< not trusted as a star; `why` says so
};

/// One detection on a frame, in the frame's own pixels.
struct StarMark {
  PixelPoint place;
  PixelPoint trail;  ///< from its middle to its end, doubled; zero when not significant
  MarkKind kind = MarkKind::unidentified;
  std::string name;  ///< of an identified bright star; may be empty
  std::optional<double> v_magnitude;
  std::string why;  ///< flags in words, for example "hot pixel"
};

/// Motion of the stars at one place on the frame.
struct MotionArrow {
  PixelPoint at;
  PixelPoint px_per_min;
};

/// A frame to look at.
struct FrameView {
  std::string file;
  int width_px = 0, height_px = 0;  ///< of the frame
  GreyPicture preview;              ///< downscaled and stretched; its width over width_px is its scale
  std::vector<StarMark> marks;      ///< brightest first
  std::vector<MotionArrow> motion;  ///< over a grid; empty when the motion is unknown
  bool motion_sense_known = true;   ///< false: read off one frame's trails, which do not say which end came first
};

/// Where the star field stands relative to the first frame: place of the star that was in the middle, and roll.
struct FieldShift {
  double time_s = 0.0;  ///< since the first frame
  double x_px = 0.0, y_px = 0.0;
  double roll_arcmin = 0.0;                        ///< positive from +x towards +y
  double sigma_px = 0.0, roll_sigma_arcmin = 0.0;  ///< 1σ; 0 for a model
};

struct AlignEvidence {
  std::optional<FrameView> frame;  ///< the last frame, to which the star to move refers
  std::vector<FieldShift> shifts;  ///< measured, per identified frame
  std::vector<FieldShift> fitted;  ///< what the axis and rate found predict, finely in time
  /// Distance of the axis from the pole at which a star trails by the tolerance in the planned exposure, wherever the
  /// camera points; absent without a planned exposure.
  std::optional<double> tolerance_radius_arcmin;
};

struct CheckEvidence {
  int crop_px = 0;  ///< side of each square
  /// Per frame of the report a JPEG file: five squares at full size side by side: centre, top left, top right, bottom
  /// left, bottom right. Empty for a frame that could not be read.
  std::vector<std::string> crops;
};

}  // namespace polewright
