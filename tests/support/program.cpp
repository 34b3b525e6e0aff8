#include "support/program.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>

namespace polewright::test {
namespace {

std::string read_all(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return out + "'";
}

}  // namespace

std::string scratch_folder(const std::string& name) {
  const auto folder = std::filesystem::temp_directory_path() / ("polewright-test-" + std::to_string(::getpid())) / name;
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder.string();
}

Run run_program(const std::vector<std::string>& arguments) {
  const std::string folder = scratch_folder("run");
  std::string command = "env -u XDG_CONFIG_HOME HOME=" + quoted(folder) + " " + quoted(POLEWRIGHT_PROGRAM);
  for (const std::string& a : arguments) command += " " + quoted(a);
  command += " >" + quoted(folder + "/out") + " 2>" + quoted(folder + "/err") + " </dev/null";
  const int status = std::system(command.c_str());
  Run run;
  run.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  run.out = read_all(folder + "/out");
  run.err = read_all(folder + "/err");
  return run;
}

std::string read_file(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace polewright::test
