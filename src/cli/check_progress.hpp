// Progress of a long run: count, rate, time left.
#pragma once

#include "polewright/session.hpp"

namespace polewright::cli {

/// A line that rewrites itself on a terminal; silent when `quiet` or when standard error is none.
[[nodiscard]] Progress check_progress(bool quiet);

}  // namespace polewright::cli
