#include "peers/certificates.h"

#include <vector>

namespace baskwell::peers {
namespace {

Outcome run(std::vector<std::string> argv) {
  Start start;
  start.argv = std::move(argv);
  Result<Process> process = Process::start(start);
  if (!process) return process.error();
  const Result<int> status = process.value().wait_for_end(std::chrono::seconds(30));
  if (!status) return status.error();
  if (status.value() != 0) return Error{"openssl failed:\n" + process.value().output()};
  return Done{};
}

Outcome make_authority(const std::string& key, const std::string& certificate, const std::string& name) {
  return run({"openssl",
              "req",
              "-x509",
              "-newkey",
              "ec",
              "-pkeyopt",
              "ec_paramgen_curve:P-256",
              "-nodes",
              "-days",
              "1",
              "-keyout",
              key,
              "-out",
              certificate,
              "-subj",
              "/CN=" + name,
              "-addext",
              "basicConstraints=critical,CA:TRUE",
              "-addext",
              "keyUsage=critical,keyCertSign,cRLSign"});
}

}  // namespace

Result<Certificates> make_certificates(const TempFolder& folder) {
  const Certificates made{folder.file("ca.pem"), folder.file("stranger.pem"), folder.file("server.pem"),
                          folder.file("server.key")};
  const std::string ca_key = folder.file("ca.key");
  const std::string request = folder.file("server.csr");
  const std::string extensions =
      folder.write("server.ext", "subjectAltName=DNS:localhost,IP:127.0.0.1\nbasicConstraints=CA:FALSE\n");
  for (const Outcome& step :
       {make_authority(ca_key, made.ca_file, "Baskwell test authority"),
        make_authority(folder.file("stranger.key"), made.stranger_file, "Somebody else's authority"),
        run({"openssl", "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
             made.server_key_file, "-out", request, "-subj", "/CN=localhost"}),
        run({"openssl", "x509", "-req", "-in", request, "-CA", made.ca_file, "-CAkey", ca_key,
             "-CAcreateserial", "-days", "1", "-extfile", extensions, "-out", made.server_file})}) {
    if (!step) return step.error();
  }
  return made;
}

}  // namespace baskwell::peers
