#include "cli/check_command.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <csignal>
#include <cstdio>
#include <iostream>
#include <iterator>

#include "cli/check_progress.hpp"
#include "cli/terminal.hpp"
#include "polewright/night.hpp"
#include "polewright/page.hpp"

namespace polewright::cli {
namespace {

constexpr int kAnswered = 0, kInputWrong = 1, kCannotAnswer = 2, kTrailedFound = 3;

std::atomic<bool> interrupted{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler may only touch lock-free atomics");

/// The first Ctrl-C asks the run to end in order, the second ends it at once.
void mind_interrupts() {
  struct sigaction action {};
  action.sa_handler = [](int) { interrupted = true; };
  action.sa_flags = SA_RESETHAND;
  ::sigaction(SIGINT, &action, nullptr);
}

std::optional<Verdict> verdict_of(const std::string& word) {
  for (const Verdict v : {Verdict::sharp, Verdict::soft, Verdict::trailed, Verdict::unusable})
    if (word == to_text(v)) return v;
  return {};
}

Result<std::vector<Verdict>> verdicts_of(const std::vector<std::string>& words, std::size_t from, const char* option) {
  std::vector<Verdict> out;
  for (std::size_t i = from; i < words.size(); ++i) {
    const auto verdict = verdict_of(words[i]);
    if (!verdict)
      return Error{ErrorCode::option_invalid, "", fmt::format("{} got '{}'", option, words[i]),
                   "sharp, soft, trailed or unusable", "Put the frames' folder before this option"};
    out.push_back(*verdict);
  }
  return out;
}

/// Names from standard input: separated by NUL when there is one, else by line ends.
std::vector<std::filesystem::path> names_from_input() {
  const std::string text((std::istreambuf_iterator<char>(std::cin)), {});
  const char separator = text.find('\0') != std::string::npos ? '\0' : '\n';
  std::vector<std::filesystem::path> out;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t to = std::min(text.find(separator, from), text.size());
    std::string name = text.substr(from, to - from);
    if (separator == '\n' && !name.empty() && name.back() == '\r') name.pop_back();
    if (!name.empty()) out.emplace_back(std::move(name));
    from = to + 1;
  }
  return out;
}

CheckOptions options_of(const SessionOptions& session, const CheckTyped& check) {
  CheckOptions options;
  options.session = session;
  options.recursive = check.recursive;
  options.use_cache = !check.no_cache;
  options.stop = [] { return interrupted.load(); };
  return options;
}

void print_name(const std::string& name, char separator) {
  std::fwrite(name.data(), 1, name.size(), stdout);
  std::fputc(separator, stdout);
}

/// A raw's JPEG goes where the raw goes.
void print_list(const CheckReport& report, const std::vector<Verdict>& verdicts, char separator) {
  for (const CheckFrame& f : report.frames)
    if (std::find(verdicts.begin(), verdicts.end(), f.finding.verdict) != verdicts.end()) {
      print_name(f.file, separator);
      for (const std::string& companion : f.companions) print_name(companion, separator);
    }
}

/// True when every file could be put where it should go.
bool sort_by(const CheckReport& report, const std::vector<std::string>& words, const std::vector<Verdict>& verdicts,
             FileAction action, const Typed& typed, bool rehearse) {
  const bool move = action == FileAction::move;
  const SortOptions options{rehearse, check_progress(typed.quiet), [] { return interrupted.load(); }};
  const FilesSorted sorted = sort_files(report, verdicts, words.front(), action, options);
  end_progress(typed.quiet);
  bool all = !sorted.ended;
  for (const FileMoved& f : sorted.files) {
    if (!f.problem.empty()) {
      complain(fmt::format("{}: not {} to {}: {}", f.from, move ? "moved" : "copied", f.to, f.problem));
      all = false;
    } else if (rehearse) {
      tell(fmt::format("would {} {} to {}", move ? "move" : "copy", f.from, f.to));
    }
  }
  if (sorted.ended) complain(sorted.ended->message());
  return all;
}

Status write_files(const Typed& typed, const CheckTyped& check, const CheckReport& report) {
  if (!typed.json_file.empty() && typed.json_file != "-")
    if (Status failed = write_whole(typed.json_file, check_json(report))) return failed;
  if (!check.csv_file.empty() && check.csv_file != "-")
    if (Status failed = write_whole(check.csv_file, check_csv(report))) return failed;
  if (!typed.report_file.empty()) return write_whole(typed.report_file, check_page(report));
  return {};
}

void print_result(const Typed& typed, const CheckTyped& check, const CheckReport& report,
                  const std::vector<Verdict>& listed) {
  CheckTextOptions text;
  text.style.colour = colour_wanted(STDOUT_FILENO);
  if (check.all) text.most_frames = 0;
  if (!check.list.empty())
    print_list(report, listed, check.null_separated ? '\0' : '\n');
  else if (typed.json_file == "-")
    fmt::print("{}", check_json(report));
  else if (check.csv_file == "-")
    fmt::print("{}", check_csv(report));
  else
    fmt::print("{}", check_text(report, text));
  std::fflush(stdout);
}

int refuse(const Error& error) {
  complain(error.message());
  return kInputWrong;
}

}  // namespace

CLI::App* add_check(CLI::App& app, Typed& typed, CheckTyped& check) {
  CLI::App* command = app.add_subcommand("check", "a night's frames: which are trailed, since when, and why");
  command->add_option("PATH", check.paths, "frames, folders or patterns; - reads names from standard input")
      ->required();
  command->add_flag("--recursive,-r", check.recursive, "also the folders inside the folders");
  command->add_flag("--all", check.all, "every frame in the table, not only the worst 40");
  command->add_option("--csv", check.csv_file, "write one line per frame as CSV; - for standard output");
  command
      ->add_option("--list", check.list,
                   "print only the names of the frames with this verdict, a raw's JPEG after it (may be repeated)")
      ->expected(1)
      ->take_all()
      ->check(CLI::IsMember({"sharp", "soft", "trailed", "unusable"}));
  command->add_flag("--null,-0", check.null_separated, "end each name of --list with NUL instead of a line end");
  command->add_option("--move-to", check.move_to, "DIR VERDICT…: move these frames; nothing is overwritten")
      ->expected(2, 5)
      ->type_name("DIR VERDICT");
  command->add_option("--copy-to", check.copy_to, "DIR VERDICT…: copy these frames; nothing is overwritten")
      ->expected(2, 5)
      ->type_name("DIR VERDICT");
  command->add_flag("--dry-run", check.dry_run, "say what --move-to or --copy-to would do, and do nothing");
  command->add_flag("--fail-on-trailed", check.fail_on_trailed, "exit status 3 when a frame is trailed");
  command->add_flag("--no-cache", check.no_cache, "measure every frame anew and remember nothing");
  command->add_option("--jobs,-j", typed.threads, "frames measured at a time (default: one per processor)")
      ->check(CLI::Range(1, 1024));
  command->footer(
      "Examples:\n"
      "  polewright check 2026-08-12/\n"
      "  polewright check -r nights/ --tolerance 1.5 --csv night.csv\n"
      "  polewright check night/ --list trailed --null | xargs -0 -n1 echo\n"
      "  polewright check night/ --move-to night/rejected trailed unusable --dry-run");
  return command;
}

int run_check(const Typed& typed, const CheckTyped& check) {
  const Result<SessionOptions> session = session_options(typed);
  if (!session) return refuse(session.error());
  const auto listed = verdicts_of(check.list, 0, "--list"), moved = verdicts_of(check.move_to, 1, "--move-to"),
             copied = verdicts_of(check.copy_to, 1, "--copy-to");
  for (const auto* result : {&listed, &moved, &copied})
    if (!*result) return refuse(result->error());
  std::vector<std::filesystem::path> paths;
  for (const std::string& path : check.paths) {
    if (path != "-") {
      paths.emplace_back(path);
      continue;
    }
    for (auto& name : names_from_input()) paths.push_back(std::move(name));
  }
  mind_interrupts();
  const Result<CheckReport> report = polewright::check(paths, options_of(*session, check), check_progress(typed.quiet));
  end_progress(typed.quiet);
  if (!report) return refuse(report.error());
  if (typed.verbose)
    complain(fmt::format("{} frames measured, {} remembered from earlier runs", report->measured, report->remembered));
  // Files first, so that a reader who closes the pipe early costs none of them; the answer comes even when one fails.
  const Status failed = write_files(typed, check, *report);
  print_result(typed, check, *report, *listed);
  if (failed) return refuse(*failed);
  if (std::ferror(stdout) != 0) return kInputWrong;
  bool sorted = true;
  // Copies first: a frame that is to be moved as well is still there.
  if (!check.copy_to.empty()) sorted = sort_by(*report, check.copy_to, *copied, FileAction::copy, typed, check.dry_run);
  if (!check.move_to.empty())
    sorted = sort_by(*report, check.move_to, *moved, FileAction::move, typed, check.dry_run) && sorted;
  if (!sorted) return kInputWrong;
  if (check.fail_on_trailed && report->count(Verdict::trailed) > 0) return kTrailedFound;
  return report->count(Verdict::unusable) == report->frames.size() ? kCannotAnswer : kAnswered;
}

}  // namespace polewright::cli
