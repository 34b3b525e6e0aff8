// polewright-simulate: scene in, frames and truth out.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <sstream>

#include "polewright/catalogue.hpp"
#include "simulate/simulate.hpp"

namespace {

using namespace polewright;
using namespace polewright::simulate;

constexpr const char* kExamples = R"(
Examples
  An evening's first pair, from a scene file:
      polewright-simulate evening.toml --out frames
  The same with the axis half a degree too low, and a picture to look at beside each frame:
      polewright-simulate evening.toml --set mount.altitude_error_arcmin=-30 --preview --out frames
  No file at all: a 24 mm lens on a mount that never started, written as camera raw:
      polewright-simulate --set lens.focal_mm=24 --set 'mount.tracking="stopped"' \
          --set 'detector.mosaic="RGGB"' --format dng --out frames
  A worm error of 25 arcseconds every ten minutes, over twelve frames:
      polewright-simulate --set time.frames=12 \
          --set 'mount.periodic=[{amplitude_arcsec=25,period_s=600}]' --out frames
Every key and its default stand in tools/simulate/scene_example.toml.
)";

struct Arguments {
  std::string scene_path, out_folder = ".", format;
  std::vector<std::string> settings;
  bool preview = false;
  int threads = 0;
};

Result<SceneFile> load(const Arguments& arguments) {
  std::ostringstream text;
  if (!arguments.scene_path.empty()) {
    std::ifstream in(arguments.scene_path);
    if (!in) return Error{ErrorCode::file_missing, arguments.scene_path, "no such file", "a scene file", ""};
    text << in.rdbuf();
  }
  auto scene = parse_scene(text.str(), arguments.scene_path, arguments.settings);
  if (scene && !arguments.format.empty()) scene.value().format = arguments.format;
  return scene;
}

Result<std::vector<SkyStar>> stars_for(const SceneFile& file) {
  if (file.random_stars) return random_stars(file.scene, file.faintest, file.render.seed);
  const auto catalogue = Catalogue::open();
  if (!catalogue) return catalogue.error();
  return stars_from_catalogue(catalogue.value(), file.scene, file.faintest);
}

Status write_frame(const std::filesystem::path& path, const Frame& frame, const SceneFile& file) {
  if (file.format == "fits") return write_fits(path, frame);
  if (file.format == "fits.fz") return write_fits(path, frame, FitsCompression::rice);
  if (file.format == "dng" || file.format == "ljpeg.dng")
    return write_dng(path, frame, {file.zone_offset_s, true, file.format == "ljpeg.dng"});
  return write_picture(path, frame);
}

Status run(const Arguments& arguments) {
  auto file = load(arguments);
  if (!file) return file.error();
  file->render.threads = arguments.threads;
  const auto stars = stars_for(*file);
  if (!stars) return stars.error();
  const std::filesystem::path folder = arguments.out_folder;
  std::error_code made;
  std::filesystem::create_directories(folder, made);
  std::vector<RenderedFrame> frames;
  std::vector<std::string> names;
  for (int i = 0; i < file->scene.frames; ++i) {
    frames.push_back(render_frame(file->scene, *stars, i, file->render));
    Frame& frame = frames.back().frame;
    names.push_back(fmt::format("{}_{}.{}", file->name, i + 1, file->format == "ljpeg.dng" ? "dng" : file->format));
    if (const auto error = write_frame(folder / names.back(), frame, *file)) return error;
    if (arguments.preview)
      if (const auto error = write_preview(folder / fmt::format("{}_{}_view.png", file->name, i + 1), frame))
        return error;
    frame.pixels = {};  // only the truth is needed from here on
    std::cerr << fmt::format("{}: {} stars\n", names.back(), frames.back().stars.size());
  }
  const auto truth_path = folder / (file->name + "_truth.json");
  std::ofstream truth(truth_path);
  truth << truth_json(file->scene, frames, names);
  truth.close();
  if (!truth) return Error{ErrorCode::write_failed, truth_path.string(), "not written", "a writable folder", ""};
  return std::nullopt;
}

}  // namespace

int main(int argc, char** argv) {
  Arguments arguments;
  CLI::App app{
      "Renders frames of a sky seen from a tracking mount whose every error is known, with the truth as JSON."};
  app.footer(kExamples);
  app.add_option("scene", arguments.scene_path, "Scene file (TOML); without one, defaults and --set alone");
  app.add_option("--set", arguments.settings, "One more line for the scene, for example lens.focal_mm=35")
      ->take_all()
      ->expected(1);
  app.add_option("--out", arguments.out_folder, "Folder for frames and truth")->capture_default_str();
  app.add_option("--format", arguments.format, "Instead of the scene's own")
      ->check(CLI::IsMember({"fits", "fits.fz", "dng", "ljpeg.dng", "tif", "png", "jpg"}));
  app.add_flag("--preview", arguments.preview, "Also write a stretched PNG of each frame");
  app.add_option("--threads", arguments.threads, "0: all the machine has")->capture_default_str();
  CLI11_PARSE(app, argc, argv);
  if (const Status error = run(arguments)) {
    std::cerr << "polewright-simulate: " << error->message() << '\n';
    return 1;
  }
  return 0;
}
