# OpenCV's core, imgproc and imgcodecs without the full development package (whose CMake files Debian ships apart).
find_path(OPENCV_INCLUDE_DIR opencv2/core.hpp PATH_SUFFIXES opencv4 REQUIRED)
foreach(part core imgproc imgcodecs)
  find_library(OPENCV_${part}_LIBRARY opencv_${part} REQUIRED)
  add_library(opencv_${part} UNKNOWN IMPORTED)
  set_target_properties(opencv_${part} PROPERTIES IMPORTED_LOCATION ${OPENCV_${part}_LIBRARY}
                                                  INTERFACE_INCLUDE_DIRECTORIES ${OPENCV_INCLUDE_DIR})
endforeach()
set(OpenCVParts_FOUND TRUE)
