#include "scratch_frames.hpp"

#include <stdexcept>

#include "polewright/catalogue.hpp"

namespace polewright::test {

const std::vector<simulate::RenderedFrame>& rendered_pair() {
  static const std::vector<simulate::RenderedFrame> pair = [] {
    simulate::Scene scene;
    scene.first_start = UtcTime::from_calendar({2026, 8, 12, 21, 30, 0.0});
    scene.lens.focal_mm = 35.0;
    scene.lens.pitch_um = 11.7;
    scene.mount.altitude_error = Angle::arcmin(-40);
    scene.mount.azimuth_error = Angle::arcmin(70);
    simulate::RenderOptions options;
    options.detector.mosaic.colour = {FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue};
    const auto stars = simulate::stars_from_catalogue(Catalogue::open().value(), scene, 11.0);
    std::vector<simulate::RenderedFrame> frames;
    for (int i = 0; i < 2; ++i) frames.push_back(simulate::render_frame(scene, stars, i, options));
    return frames;
  }();
  return pair;
}

std::string save(const std::string& folder, const std::string& name, const Frame& frame) {
  const std::string path = folder + "/" + name;
  Status failed;
  if (name.ends_with(".dng")) {
    simulate::DngOptions options;
    options.zone_offset_s.reset();
    options.gps = frame.metadata.site.has_value();
    failed = simulate::write_dng(path, frame, options);
  } else {
    failed = simulate::write_fits(path, frame);
  }
  if (failed) throw std::runtime_error(failed->message());
  return path;
}

std::string write_plain(const std::string& folder, const std::string& name, int which) {
  return write_frame(folder, name, which, [](Frame&) {});
}

}  // namespace polewright::test
