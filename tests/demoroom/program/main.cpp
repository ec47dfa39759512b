// baskwell-demo-room: the demo room over MQTT, or as a file of readings. See tests/demoroom/README.md.

#include "demoroom/program/live.h"
#include "demoroom/program/options.h"

int main(int argc, char** argv) {
  using namespace baskwell::demoroom;
  const Parsed parsed = parse_options(argc, argv);
  if (!parsed.options) return parsed.exit_code;
  if (parsed.options->send_command) return send_command(*parsed.options);
  if (!parsed.options->csv_file.empty()) return write_csv(*parsed.options);
  return publish_live(*parsed.options);
}
