// Standard error: progress on a terminal, messages always.
#pragma once

#include <string>

#include "polewright/session.hpp"

namespace polewright::cli {

/// True when the stream is a terminal and NO_COLOR is not set (no-color.org convention).
[[nodiscard]] bool colour_wanted(int file_descriptor);

/// A progress line that rewrites itself; silent when `quiet` or when standard error is no terminal.
[[nodiscard]] Progress progress_line(bool quiet);
/// Clears a progress line left on the terminal.
void end_progress(bool quiet);

/// One line on standard error; names in it cannot steer the terminal. `complain` says which program it is.
void tell(const std::string& message);
void complain(const std::string& message);

}  // namespace polewright::cli
