// Keeps picture codecs from writing to the program's standard error.
#pragma once

namespace polewright {

/// While one exists, what is written to file descriptor 2 goes nowhere. libjpeg and libpng report damaged or odd files
/// there and OpenCV offers no other handler. It holds for the whole process, so it is kept to the decoder call (tens of
/// milliseconds); objects on several threads may overlap.
class QuietStderr {
 public:
  QuietStderr();
  ~QuietStderr();
  QuietStderr(const QuietStderr&) = delete;
  QuietStderr& operator=(const QuietStderr&) = delete;
};

}  // namespace polewright
