//! Prints the owner's URL of the cluster in the folder given as the argument (without one, of a
//! throwaway one) and keeps it running until killed.

use cluster::{Cluster, DATABASE, Role, Settings};

fn main() -> Result<(), cluster::ClusterError> {
    let folder = std::env::args_os().nth(1).map(Into::into);
    let cluster = Cluster::start(&Settings { folder, ..Settings::throwaway() })?;
    println!("{}", cluster.url(Role::Owner, DATABASE));
    loop {
        std::thread::park();
    }
}
