// One exposure in several files and folders: copies, and raw and JPEG written to two cards or sorted apart.
#pragma once

#include <vector>

#include "session/night_measure.hpp"

namespace polewright::session {

/// Leaves each exposure once; its other files become its companions. Files are one exposure when they were measured
/// alike to the last bit, or when they have the same name but for the ending, are of different form (raw, FITS,
/// picture, JPEG), and their clocks agree; where a file carries no clock, their stars must stand at the same places.
/// What the sensor recorded comes before what was made of it. Twins within one folder were joined by name before
/// measuring.
void join_twins(std::vector<NightFile>& files, const SessionOptions& options);

}  // namespace polewright::session
