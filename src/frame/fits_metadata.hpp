// FITS header -> metadata: the standard's keywords and the conventions in practice.
#pragma once

#include "frame/fits_header.hpp"
#include "polewright/frame.hpp"

namespace polewright {

/// Everything but pixels. `width` and `height` are those of the image (for the centre of a WCS).
FrameMetadata metadata_from_fits(const FitsHeader& header, int width, int height, const ReadOptions& options);

// Its parts. Each writes what it finds, with the source, and adds warnings.

/// Exposure and the middle of it. metadata.exposure_s is set first.
void read_fits_time(const FitsHeader& header, const ReadOptions& options, FrameMetadata& metadata);
/// Site; needs the time for telling west-positive longitudes.
void read_fits_site(const FitsHeader& header, FrameMetadata& metadata);
/// Focal length, pixel pitch, scale, pointing.
void read_fits_optics(const FitsHeader& header, int width, int height, FrameMetadata& metadata);

}  // namespace polewright
